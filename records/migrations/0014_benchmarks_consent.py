"""A farm may let a program count it in benchmarks: a purpose of its own, which lets nobody in."""

import django.contrib.postgres.fields
import django.db.models.deletion
from django.db import migrations, models
from django.db.models import Q

PURPOSES = ["advice", "records", "summaries", "benchmarks"]


class Migration(migrations.Migration):
    dependencies = [("records", "0012_job_states_looked_at")]

    operations = [
        migrations.RemoveConstraint("consent", "consent_purpose_known"),
        migrations.RemoveConstraint("consent", "consent_rights_fit_the_purpose"),
        migrations.AlterField(
            "consent",
            "program",
            models.ForeignKey(
                blank=True,
                db_index=False,
                help_text="The program, for the purposes records, summaries and benchmarks.",
                null=True,
                on_delete=django.db.models.deletion.PROTECT,
                related_name="+",
                to="records.program",
            ),
        ),
        migrations.AlterField(
            "consent",
            "purpose",
            models.CharField(
                choices=[(purpose, purpose) for purpose in PURPOSES],
                help_text="advice: an adviser reads, and records where that is given; records: the program's leads "
                "read; summaries: the program may count the farm in its summaries, and reads nothing; benchmarks: the "
                "program may count the farm in what its growers who take part are held against, and reads nothing.",
                max_length=10,
            ),
        ),
        migrations.AlterField(
            "consent",
            "rights",
            django.contrib.postgres.fields.ArrayField(
                base_field=models.CharField(max_length=10),
                blank=True,
                default=list,
                help_text="What it allows: read, or read and record for an adviser; nothing for summaries and "
                "benchmarks.",
                size=None,
            ),
        ),
        migrations.AddConstraint(
            "consent", models.CheckConstraint(condition=Q(purpose__in=PURPOSES), name="consent_purpose_known")
        ),
        migrations.AddConstraint(
            "consent",
            models.CheckConstraint(
                condition=Q(purpose="advice", rights__in=[["read"], ["read", "record"]])
                | Q(purpose="records", rights=["read"])
                | Q(purpose__in=["summaries", "benchmarks"], rights=[]),
                name="consent_rights_fit_the_purpose",
            ),
        ),
    ]
