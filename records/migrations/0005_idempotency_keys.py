"""Keys by which a request without an id of its own is known again."""


import django.contrib.postgres.functions
from django.db import migrations, models
from django.db.models import Q

import records.models.base
from records.walls import farm_key, row_security

#: A farm's answers are behind its wall; those of no farm behind their sender's.  The sweep sees what has expired.
SEES = """
    farm_id = ANY ((SELECT context_farms())::uuid[])
    OR (farm_id = '00000000-0000-0000-0000-000000000000' AND person_id = (SELECT context_person()))
    OR (received_at < now() - interval '30 days' AND (SELECT current_setting('app.sweep', true)) = 'on')
"""
WRITES = """
    person_id = (SELECT context_person()) AND (
        farm_id = ANY ((SELECT context_farms())::uuid[]) OR farm_id = '00000000-0000-0000-0000-000000000000')
"""


class Migration(migrations.Migration):
    dependencies = [("records", "0004_consent")]

    operations = [
        migrations.CreateModel(
            "KeptAnswer",
            [
                (
                    "id",
                    models.UUIDField(
                        primary_key=True, db_default=records.models.base.UUIDv7(), editable=False, serialize=False
                    ),
                ),
                ("farm_id", models.UUIDField(help_text="The farm of the request; nil where it names none.")),
                ("person_id", models.UUIDField(help_text="Who sent it.")),
                ("scope", models.CharField(help_text="SHA-256 of method, path and key.", max_length=64)),
                ("fingerprint", models.CharField(help_text="SHA-256 of what the request said.", max_length=64)),
                ("status", models.PositiveSmallIntegerField()),
                (
                    "headers",
                    models.JSONField(default=dict, help_text="Those of the answer that a client acts on."),
                ),
                (
                    "body",
                    models.BinaryField(help_text="Empty where it showed a secret, or was too large.", null=True),
                ),
                ("deflated", models.BooleanField(default=False, help_text="The body is compressed (zlib).")),
                (
                    "received_at",
                    models.DateTimeField(
                        db_default=django.contrib.postgres.functions.TransactionNow(), editable=False
                    ),
                ),
            ],
            options={
                "db_table": "kept_answer",
                "constraints": [
                    models.UniqueConstraint(
                        name="kept_answer_once_a_request", fields=["farm_id", "person_id", "scope"]
                    ),
                    models.CheckConstraint(
                        name="kept_answer_of_a_success", condition=Q(status__gte=200) & Q(status__lt=300)
                    ),
                ],
                "indexes": [models.Index(name="kept_answer_by_age", fields=["farm_id", "received_at"])],
            },
        ),
        farm_key("kept_answer"),
        row_security("kept_answer", SEES, WRITES),
    ]
