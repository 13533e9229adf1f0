from datetime import timedelta

import django.db.models.deletion
from django.conf import settings
from django.db import migrations, models
from django.utils import timezone


def take_over(apps, schema_editor):
    """Whoever is signed in stays so; the rows say whose they are at their next day of use."""
    before, after = apps.get_model("sessions", "Session"), apps.get_model("people", "OpenSession")
    columns = ("session_key", "session_data", "expire_date")
    rows = before.objects.filter(expire_date__gt=timezone.now()).values(*columns)
    after.objects.bulk_create([after(**row) for row in rows.iterator()], batch_size=500)
    before.objects.all().delete()


def end_temporary(apps, schema_editor):
    """Temporary passwords of before end as those given today do."""
    temporary = apps.get_model("people", "Person").objects.filter(password_is_temporary=True)
    temporary.update(password_until=timezone.now() + timedelta(days=3))


class Migration(migrations.Migration):

    dependencies = [
        ("people", "0004_kept_and_forgotten"),
        ("sessions", "0001_initial"),
    ]

    operations = [
        migrations.AddField(
            model_name="person",
            name="password_until",
            field=models.DateTimeField(blank=True, null=True),
        ),
        migrations.CreateModel(
            name="OpenSession",
            fields=[
                ("session_key", models.CharField(max_length=40, primary_key=True, serialize=False, verbose_name="session key")),
                ("session_data", models.TextField(verbose_name="session data")),
                ("expire_date", models.DateTimeField(db_index=True, verbose_name="expire date")),
                ("sign_in", models.UUIDField(null=True)),
                ("device", models.CharField(blank=True, max_length=60)),
                ("begun_at", models.DateTimeField(null=True)),
                ("used_at", models.DateTimeField(null=True)),
                ("person", models.ForeignKey(null=True, on_delete=django.db.models.deletion.CASCADE, related_name="+", to=settings.AUTH_USER_MODEL)),
            ],
            options={"verbose_name": "session", "verbose_name_plural": "sessions", "abstract": False},
        ),
        migrations.RunPython(take_over, migrations.RunPython.noop),
        migrations.RunPython(end_temporary, migrations.RunPython.noop),
    ]
