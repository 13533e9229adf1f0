"""Indexes by which any part of a certificate's number, an order or a customer is found at once, on PostgreSQL.

They stand here because the look-up asks for them in this form; production's own follow its migration 0005.
"""

from __future__ import annotations

from django.db import migrations

SPOKEN = "replace(replace(replace(upper(number::text), '-', ''), 'O', '0'), 'I', '1')"
INDEXES = {
    "history_certificate_part": f"certificates_certificate USING gin (({SPOKEN}) gin_trgm_ops)",
    "history_order_part": "customers_order USING gin (lookup gin_trgm_ops)",
    "history_customer_part": "customers_customer USING gin (lookup gin_trgm_ops)",
}


def make(apps, schema_editor):
    """Nothing where production found no trigrams: every fragment is found there too, only later."""
    if schema_editor.connection.vendor != "postgresql":
        return
    with schema_editor.connection.cursor() as cursor:
        cursor.execute("SELECT 1 FROM pg_extension WHERE extname = 'pg_trgm'")
        if cursor.fetchone() is None:
            return
        for name, where in INDEXES.items():
            cursor.execute(f"CREATE INDEX IF NOT EXISTS {name} ON {where}")


def drop(apps, schema_editor):
    if schema_editor.connection.vendor == "postgresql":
        for name in INDEXES:
            schema_editor.execute(f"DROP INDEX IF EXISTS {name}")


class Migration(migrations.Migration):
    initial = True
    dependencies = [
        ("production", "0005_lookup"), ("certificates", "0001_certificates"), ("customers", "0001_customers"),
    ]
    operations = [migrations.RunPython(make, drop)]
