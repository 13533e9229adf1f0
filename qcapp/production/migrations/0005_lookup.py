"""Indexes by which any part of a serial, mark or order is found at once among a million: trigrams, on PostgreSQL."""

from __future__ import annotations

from django.db import migrations

INDEXES = {
    "production_unit_lookup_part": "production_unit USING gin (lookup gin_trgm_ops)",
    "production_unit_order_part": "production_unit USING gin (upper(order_number::text) gin_trgm_ops)",
    "production_mark_lookup_part": "production_identity USING gin (lookup gin_trgm_ops)",
}


def make(apps, schema_editor):
    """Nothing where the server has no trigrams: every fragment is found there too, only later."""
    if schema_editor.connection.vendor != "postgresql":
        return
    with schema_editor.connection.cursor() as cursor:
        cursor.execute("SELECT 1 FROM pg_available_extensions WHERE name = 'pg_trgm'")
        if cursor.fetchone() is None:
            return
        cursor.execute("SELECT 1 FROM pg_extension WHERE extname = 'pg_trgm'")
        if cursor.fetchone() is None:
            cursor.execute("SELECT has_database_privilege(current_database(), 'CREATE')")
            if not cursor.fetchone()[0]:
                return
            cursor.execute("CREATE EXTENSION IF NOT EXISTS pg_trgm")
        for name, where in INDEXES.items():
            cursor.execute(f"CREATE INDEX IF NOT EXISTS {name} ON {where}")


def drop(apps, schema_editor):
    if schema_editor.connection.vendor == "postgresql":
        for name in INDEXES:
            schema_editor.execute(f"DROP INDEX IF EXISTS {name}")


class Migration(migrations.Migration):
    dependencies = [("production", "0004_stations")]
    operations = [migrations.RunPython(make, drop)]
