"""The request that asked for a job, so that its lines in the logs can be told from others."""

from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [("records", "0008_positions")]

    operations = [
        migrations.AddField(
            model_name="job",
            name="request_id",
            field=models.CharField(
                blank=True,
                db_default="",
                default="",
                help_text="The request that asked for it, as it stands in the logs.",
                max_length=64,
            ),
        ),
    ]
