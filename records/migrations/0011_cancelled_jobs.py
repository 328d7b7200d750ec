"""A job may be cancelled; the new rule holds before the old one goes."""

from django.contrib.postgres.operations import AddConstraintNotValid
from django.db import migrations, models

STATES = ["queued", "running", "succeeded", "failed", "cancelled"]


class Migration(migrations.Migration):
    dependencies = [("records", "0010_balance_catalogues")]

    operations = [
        migrations.AddField(
            "job",
            "cancel_asked_at",
            models.DateTimeField(blank=True, help_text="When somebody asked to cancel it.", null=True),
        ),
        migrations.RemoveConstraint("job", "job_state_known"),
        migrations.AlterField(
            "job",
            "state",
            models.CharField(
                choices=[
                    ("queued", "queued"),
                    ("running", "running"),
                    ("succeeded", "succeeded"),
                    ("failed", "failed"),
                    ("cancelled", "cancelled"),
                ],
                default="queued",
                max_length=10,
            ),
        ),
        AddConstraintNotValid(
            "job", models.CheckConstraint(name="job_state_known", condition=models.Q(state__in=STATES))
        ),
    ]
