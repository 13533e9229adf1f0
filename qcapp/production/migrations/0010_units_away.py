from django.db import migrations, models


class Migration(migrations.Migration):

    dependencies = [
        ('production', '0009_welded_in'),
    ]

    operations = [
        migrations.AddField(
            model_name='unit',
            name='away',
            field=models.BooleanField(db_default=False, default=False),
        ),
    ]
