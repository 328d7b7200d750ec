"""Tell receivers of changed summaries and of worklists that are due; the new words hold before the old list goes."""

from django.contrib.postgres.operations import AddConstraintNotValid
from django.db import migrations, models

from balance.reports.webhooks.summaries_sql import note_summary_changes

EVENTS = ["report.ready", "report.failed", "season_summary.changed", "worklist.due"]


class Migration(migrations.Migration):
    dependencies = [("balance", "0009_benchmarks")]

    operations = [
        migrations.RemoveConstraint("webhookendpoint", "webhook_endpoint_events_known"),
        AddConstraintNotValid(
            "webhookendpoint",
            models.CheckConstraint(
                name="webhook_endpoint_events_known", condition=models.Q(events__contained_by=EVENTS)
            ),
        ),
        migrations.RemoveConstraint("webhookdelivery", "webhook_delivery_event_known"),
        migrations.AlterField(
            "webhookdelivery",
            "event",
            models.CharField(
                max_length=40,
                choices=[
                    ("report.ready", "a report is ready"),
                    ("report.failed", "a report could not be made"),
                    ("season_summary.changed", "records that the summaries of some seasons rest on changed"),
                    ("worklist.due", "a winter or summer has begun in which cases of cordons ask for work"),
                ],
            ),
        ),
        AddConstraintNotValid(
            "webhookdelivery",
            models.CheckConstraint(name="webhook_delivery_event_known", condition=models.Q(event__in=EVENTS)),
        ),
        migrations.AlterField(
            "webhookdelivery", "about", models.UUIDField(help_text="The report, or an id of what else happened.")
        ),
        migrations.AddField(
            "webhookendpoint",
            "told_versions",
            models.JSONField(
                null=True,
                blank=True,
                help_text="By season, the versions of its summaries when it was told of them last.",
            ),
        ),
        note_summary_changes(),
    ]
