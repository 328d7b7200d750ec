"""What farms take out and how they are erased, and the register of farms for the program's staff."""

import django.contrib.postgres.functions
import django.db.models.deletion
from django.db import migrations, models

import records.models.base
from records.erasing import ERASE_FARM, ERASED_STAYS_ERASED, REGISTER, TABLES_OF_FARMS
from records.walls import Reference, farm_table

NOW = django.contrib.postgres.functions.TransactionNow


def an_id():
    return models.UUIDField(
        db_default=records.models.base.UUIDv7(), editable=False, primary_key=True, serialize=False
    )


def of_a_farm():
    return models.ForeignKey(
        db_index=False, on_delete=django.db.models.deletion.PROTECT, related_name="+", to="records.farm"
    )


def reference(to):
    return models.ForeignKey(
        db_constraint=False, db_index=False, on_delete=django.db.models.deletion.PROTECT, related_name="+", to=to
    )


class Migration(migrations.Migration):
    dependencies = [("records", "0006_block_boundaries")]

    operations = [
        migrations.CreateModel(
            name="Export",
            fields=[
                ("id", an_id()),
                ("farm", of_a_farm()),
                ("version", models.PositiveIntegerField(db_default=1, help_text="Counts the changes of this row, from 1.")),
                ("received_at", models.DateTimeField(db_default=NOW(), editable=False, help_text="When the service first received it.")),
                ("changed_at", models.DateTimeField(db_default=NOW(), help_text="When it was last changed.")),
                ("created_digest", models.CharField(blank=True, editable=False, help_text="Of what the creating request said, so that the same request is known again for ever.", max_length=64)),
                ("job", reference("records.job")),
                ("attempt", models.PositiveSmallIntegerField(help_text="The attempt of the job whose parts are the file; empty until it is whole.", null=True)),
                ("taken_at", models.DateTimeField(help_text="The one point in time that everything in it stands for.", null=True)),
                ("rows", models.PositiveIntegerField(default=0, help_text="How many rows of all tables it holds.")),
                ("size", models.PositiveBigIntegerField(default=0, help_text="Of the file [bytes].")),
                ("sha256", models.CharField(blank=True, help_text="Of the file.", max_length=64)),
                ("expires_at", models.DateTimeField(help_text="From then on the file is gone.", null=True)),
            ],
            options={
                "db_table": "export",
                "indexes": [models.Index(fields=["farm", "-received_at", "-id"], name="export_in_order")],
            },
        ),
        migrations.CreateModel(
            name="ExportPart",
            fields=[
                ("id", an_id()),
                ("farm", of_a_farm()),
                ("export", reference("records.export")),
                ("attempt", models.PositiveSmallIntegerField(help_text="The attempt of the job that wrote it.")),
                ("number", models.PositiveIntegerField(help_text="From 0.")),
                ("content", models.BinaryField()),
            ],
            options={
                "db_table": "export_part",
                "constraints": [
                    models.UniqueConstraint(fields=("farm", "export", "attempt", "number"), name="export_part_once_a_number"),
                ],
            },
        ),
        migrations.CreateModel(
            name="Erasure",
            fields=[
                ("id", an_id()),
                ("erased_farm_id", models.UUIDField(help_text="The farm that there is no more.")),
                ("erased_at", models.DateTimeField(db_default=NOW(), help_text="When it was first erased.")),
                ("asked_by_id", models.UUIDField(help_text="The person who asked; empty: whoever runs the machine.", null=True)),
                ("counts", models.JSONField(default=dict, help_text="How many rows of which table.")),
            ],
            options={
                "db_table": "erasure",
                "constraints": [models.UniqueConstraint(fields=("erased_farm_id",), name="erasure_one_line_a_farm")],
            },
        ),
        migrations.CreateModel(
            name="RegisteredFarm",
            fields=[
                ("id", models.UUIDField(primary_key=True, serialize=False)),
                ("name", models.CharField(max_length=120)),
                ("program", models.ForeignKey(db_constraint=False, null=True, on_delete=django.db.models.deletion.DO_NOTHING, related_name="+", to="records.program")),
            ],
            options={"db_table": "farm_register", "managed": False, "verbose_name": "farm", "ordering": ("name", "id")},
        ),
        *farm_table("export", Reference(["job_id"], "job"), keeps_history=False),
        *farm_table("export_part", Reference(["export_id"], "export"), keeps_history=False),
        TABLES_OF_FARMS,
        REGISTER,
        ERASE_FARM,
        ERASED_STAYS_ERASED,
    ]
