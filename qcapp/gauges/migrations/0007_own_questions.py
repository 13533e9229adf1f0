"""What each kind of gauge asks at a calibration, what of it a point was taken on, and gauges retired for good."""

from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [("gauges", "0006_study_kept_with_its_checkpoint")]

    operations = [
        migrations.AddField("calibration", "looked_at", models.JSONField(default=list)),
        migrations.AddField(
            "calibrationpoint",
            "series",
            models.CharField(blank=True, default="", max_length=40),
            preserve_default=False,
        ),
        migrations.AlterField(
            "gaugeuse",
            "kind",
            models.CharField(
                choices=[("out", "taken out of use"), ("back", "put back in use"), ("retired", "retired for good")],
                max_length=8,
            ),
        ),
    ]
