"""One table of marks on the drawing: those that stood as pictures with a sheet get their mark; the pictures stay."""

from __future__ import annotations

from uuid import UUID

from django.db import migrations, models


def copy(apps, schema_editor):
    picture_of = apps.get_model("nonconformance", "ReportPicture")
    mark_of = apps.get_model("nonconformance", "ReportMark")
    known = set(mark_of.objects.values_list("report_id", "sheet", "x", "y"))
    rows = []
    marked = picture_of.objects.exclude(sheet="").filter(mark_x__isnull=False, mark_y__isnull=False).order_by("id")
    for picture in marked.iterator(chunk_size=1000):
        sheet = _sheet(picture.sheet)
        place = (picture.report_id, sheet, picture.mark_x, picture.mark_y)
        if sheet is None or place in known:
            continue
        known.add(place)
        rows.append(
            mark_of(
                report_id=picture.report_id, sheet=sheet, x=picture.mark_x, y=picture.mark_y, further=True,
                caption=picture.caption, by_id=picture.by_id, at=picture.at,
            )
        )
    mark_of.objects.bulk_create(rows, batch_size=1000)


def _sheet(text):
    try:
        return UUID(text)
    except ValueError:
        return None


def keep(apps, schema_editor):
    """The pictures still stand; marks are written once and stay as well."""


class Migration(migrations.Migration):
    dependencies = [("nonconformance", "0003_lots_and_counts")]
    operations = [
        migrations.AddField("reportmark", "further", models.BooleanField(default=False)),
        migrations.AddField("reportmark", "caption", models.CharField(blank=True, default="", max_length=160)),
        migrations.RunPython(copy, keep),
    ]
