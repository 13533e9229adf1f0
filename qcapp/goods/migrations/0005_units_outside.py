"""What is sent outside is any item: lots as before, and units. The column that named the lot goes."""

import django.db.models.deletion
from django.db import migrations, models
from django.db.models import OuterRef, Subquery

from qcapp.lib.guards import lifted


def name_items(apps, schema_editor):
    """The item of each lot that was sent out. The rows are frozen, so their guard is lifted for it."""
    rows = apps.get_model("goods", "OutsideProcess").objects.using(schema_editor.connection.alias)
    if not rows.exists():  # also on a new database, whose guards are not made yet
        return
    lots = apps.get_model("production", "Lot").objects.filter(pk=OuterRef("lot_id"))
    with lifted("Outside processes name items", ["goods_outsideprocess"], schema_editor.connection.alias):
        rows.update(item_id=Subquery(lots.values("item_id")[:1]))


def name_lots(apps, schema_editor):
    """Back to lots. Raises RuntimeError where a unit was sent out: that cannot be said there."""
    rows = apps.get_model("goods", "OutsideProcess").objects.using(schema_editor.connection.alias)
    lots = apps.get_model("production", "Lot").objects
    if rows.exclude(item_id__in=lots.values("item_id")).exists():
        raise RuntimeError("Units were sent out; this migration cannot be taken back.")
    if rows.exists():
        with lifted("Outside processes name lots", ["goods_outsideprocess"], schema_editor.connection.alias):
            rows.update(lot_id=Subquery(lots.filter(item_id=OuterRef("item_id")).values("pk")[:1]))


class Migration(migrations.Migration):

    dependencies = [
        ('goods', '0004_verification_at_issue'),
        ('production', '0010_units_away'),
    ]

    operations = [
        migrations.AlterField(
            model_name='outsideprocess',
            name='lot',
            field=models.ForeignKey(null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to='production.lot'),
        ),
        migrations.AddField(
            model_name='outsideprocess',
            name='item',
            field=models.ForeignKey(null=True, on_delete=django.db.models.deletion.PROTECT, related_name='sent_out', to='production.item'),
        ),
        migrations.RunPython(name_items, name_lots),
        migrations.RemoveField(model_name='outsideprocess', name='lot'),
        migrations.AlterField(
            model_name='outsideprocess',
            name='item',
            field=models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='sent_out', to='production.item'),
        ),
    ]
