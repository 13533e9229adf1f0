"""Give the reports that were raised before a place in the counts, from their facts and what was recorded of them."""

from __future__ import annotations

import json

from django.db import migrations


def fill(apps, schema_editor):
    report_of = apps.get_model("nonconformance", "Report")
    place_of = apps.get_model("improvement", "ReportPlace")
    result_of = apps.get_model("inspections", "Result")
    known = set(place_of.objects.values_list("report_id", flat=True))
    fixtures = {
        item: str(json.loads(answer).get("text", ""))[:60]
        for item, answer in result_of.objects.filter(
            characteristic__key="fixture", current_for__isnull=False, inspection=1
        ).order_by("id").values_list("item_id", "answer")
    }
    rows = []
    for report in report_of.objects.select_related("item", "checkpoint").iterator(chunk_size=1000):
        if report.pk in known:
            continue
        facts = json.loads(report.facts)
        rows.append(
            place_of(
                report_id=report.pk, family_id=report.item.family_id, raised_at=report.raised_at,
                characteristic_id=report.checkpoint.characteristic_id if report.checkpoint else None,
                joint=str(facts.get("joint") or (report.checkpoint.joint if report.checkpoint else ""))[:12],
                fixture=str(facts.get("fixture") or fixtures.get(report.item_id, ""))[:60],
                supplier=str(facts.get("supplier") or "")[:80],
            )
        )
    place_of.objects.bulk_create(rows, batch_size=1000)


def keep(apps, schema_editor):
    """What was filled in goes with its table."""


class Migration(migrations.Migration):
    dependencies = [("improvement", "0001_improvement"), ("inspections", "0001_inspections")]
    operations = [migrations.RunPython(fill, keep)]
