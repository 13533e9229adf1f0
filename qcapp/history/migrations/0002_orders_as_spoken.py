"""An index by which a unit is found by its order as it is read out: spaces, dashes, O and 0, I and 1 aside."""

from __future__ import annotations

from django.db import migrations

SPOKEN = "replace(replace(replace(replace(upper(order_number::text), '-', ''), ' ', ''), 'O', '0'), 'I', '1')"
NAME, WHERE = "history_unit_order_spoken", f"production_unit USING gin (({SPOKEN}) gin_trgm_ops)"


def make(apps, schema_editor):
    """Nothing where production found no trigrams: every fragment is found there too, only later."""
    if schema_editor.connection.vendor != "postgresql":
        return
    with schema_editor.connection.cursor() as cursor:
        cursor.execute("SELECT 1 FROM pg_extension WHERE extname = 'pg_trgm'")
        if cursor.fetchone() is not None:
            cursor.execute(f"CREATE INDEX IF NOT EXISTS {NAME} ON {WHERE}")


def drop(apps, schema_editor):
    if schema_editor.connection.vendor == "postgresql":
        schema_editor.execute(f"DROP INDEX IF EXISTS {NAME}")


class Migration(migrations.Migration):
    dependencies = [("history", "0001_lookup"), ("production", "0005_lookup")]
    operations = [migrations.RunPython(make, drop)]
