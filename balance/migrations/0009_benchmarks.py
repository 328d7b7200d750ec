"""Benchmarks between growers: snapshots, and what farms brought to them."""

import django.contrib.postgres.fields
import django.contrib.postgres.functions
import django.db.models.deletion
from django.conf import settings
from django.db import migrations, models

import records.models.base
from balance.benchmarks.sql import ENDS_WITH_CONSENT, ENDS_WITH_FARM
from records.walls import Reference, farm_table


class Migration(migrations.Migration):
    dependencies = [
        ("balance", "0008_summaries"),
        ("records", "0014_benchmarks_consent"),
        migrations.swappable_dependency(settings.AUTH_USER_MODEL),
    ]

    operations = [
        migrations.AddField(
            model_name="programreport",
            name="cancel_asked_at",
            field=models.DateTimeField(blank=True, help_text="When somebody asked to cancel it.", null=True),
        ),
        migrations.CreateModel(
            name="BenchmarkSnapshot",
            fields=[
                (
                    "id",
                    models.UUIDField(
                        db_default=records.models.base.UUIDv7(), editable=False, primary_key=True, serialize=False
                    ),
                ),
                ("season", models.PositiveSmallIntegerField(help_text="Harvest year.")),
                ("request_id", models.CharField(blank=True, max_length=64)),
                ("created_digest", models.CharField(blank=True, editable=False, max_length=64)),
                (
                    "received_at",
                    models.DateTimeField(db_default=django.contrib.postgres.functions.TransactionNow(), editable=False),
                ),
                (
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
                ("attempts", models.PositiveSmallIntegerField(default=0)),
                (
                    "leased_until",
                    models.DateTimeField(
                        db_default=django.contrib.postgres.functions.TransactionNow(),
                        help_text="A worker holds it until then; afterwards anybody may take it up.",
                    ),
                ),
                (
                    "cancel_asked_at",
                    models.DateTimeField(blank=True, help_text="When somebody asked to cancel it.", null=True),
                ),
                ("progress_done", models.PositiveIntegerField(default=0)),
                ("progress_total", models.PositiveIntegerField(blank=True, null=True)),
                ("failure", models.TextField(blank=True)),
                ("finished_at", models.DateTimeField(blank=True, null=True)),
                (
                    "number",
                    models.PositiveSmallIntegerField(
                        help_text="Counts the snapshots of the season, from 1.", null=True
                    ),
                ),
                ("taken_at", models.DateTimeField(help_text="The moment that it stands for.", null=True)),
                ("growers", models.CharField(blank=True, help_text="How many were counted, as a band.", max_length=5)),
                ("made_by_version", models.CharField(blank=True, max_length=60)),
                (
                    "farm_erased",
                    models.BooleanField(
                        default=False,
                        help_text="A farm that it counted was erased: what that brought cannot be looked at any more.",
                    ),
                ),
                (
                    "asked_by",
                    models.ForeignKey(
                        db_index=False,
                        null=True,
                        on_delete=django.db.models.deletion.SET_NULL,
                        related_name="+",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
                (
                    "program",
                    models.ForeignKey(
                        db_index=False,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to="records.program",
                    ),
                ),
            ],
            options={
                "db_table": "benchmark_snapshot",
            },
        ),
        migrations.CreateModel(
            name="BenchmarkPart",
            fields=[
                (
                    "id",
                    models.UUIDField(
                        db_default=records.models.base.UUIDv7(), editable=False, primary_key=True, serialize=False
                    ),
                ),
                (
                    "grower",
                    models.CharField(
                        help_text="One name for all farms of one grower, in this snapshot alone.", max_length=64
                    ),
                ),
                ("brought", models.JSONField()),
                ("cells", django.contrib.postgres.fields.ArrayField(base_field=models.UUIDField(), size=None)),
                (
                    "consent",
                    models.ForeignKey(
                        db_constraint=False,
                        db_index=False,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to="records.consent",
                    ),
                ),
                (
                    "farm",
                    models.ForeignKey(
                        db_index=False, on_delete=django.db.models.deletion.PROTECT, related_name="+", to="records.farm"
                    ),
                ),
                (
                    "snapshot",
                    models.ForeignKey(
                        db_index=False,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to="balance.benchmarksnapshot",
                    ),
                ),
            ],
            options={
                "db_table": "benchmark_part",
            },
        ),
        migrations.CreateModel(
            name="BenchmarkCell",
            fields=[
                (
                    "id",
                    models.UUIDField(
                        db_default=records.models.base.UUIDv7(), editable=False, primary_key=True, serialize=False
                    ),
                ),
                ("measure", models.CharField(max_length=20)),
                ("dimension", models.CharField(max_length=10)),
                ("label", models.CharField(blank=True, help_text="Empty for all growers together.", max_length=120)),
                ("mean", models.FloatField(null=True)),
                (
                    "spread",
                    models.FloatField(
                        help_text="Standard deviation between plantings, weighted like the mean.", null=True
                    ),
                ),
                (
                    "growers",
                    models.CharField(blank=True, help_text="As a band; empty where nothing is told.", max_length=5),
                ),
                ("reason_code", models.CharField(blank=True, max_length=40)),
                ("reason", models.CharField(blank=True, help_text="Why the mean is withheld.", max_length=400)),
                ("spread_reason", models.CharField(blank=True, max_length=400)),
                ("holds_until", models.DateTimeField(blank=True, null=True)),
                (
                    "snapshot",
                    models.ForeignKey(
                        db_index=False,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="cells",
                        to="balance.benchmarksnapshot",
                    ),
                ),
            ],
            options={
                "db_table": "benchmark_cell",
            },
        ),
        migrations.AddIndex(
            model_name="benchmarksnapshot",
            index=models.Index(fields=["program", "-received_at", "-id"], name="benchmark_snapshot_in_order"),
        ),
        migrations.AddIndex(
            model_name="benchmarksnapshot",
            index=models.Index(
                condition=models.Q(("state__in", ["queued", "running"])),
                fields=["leased_until"],
                name="benchmark_snapshot_to_be_made",
            ),
        ),
        migrations.AddConstraint(
            model_name="benchmarksnapshot",
            constraint=models.CheckConstraint(
                condition=models.Q(("state__in", ["queued", "running", "succeeded", "failed", "cancelled"])),
                name="benchmark_snapshot_state_known",
            ),
        ),
        migrations.AddConstraint(
            model_name="benchmarksnapshot",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    ("season__isnull", True), models.Q(("season__gte", 1900), ("season__lte", 2100)), _connector="OR"
                ),
                name="benchmark_snapshot_season_1900_to_2100",
            ),
        ),
        migrations.AddConstraint(
            model_name="benchmarksnapshot",
            constraint=models.UniqueConstraint(
                fields=("program", "season", "number"), name="benchmark_snapshot_numbered"
            ),
        ),
        migrations.AddConstraint(
            model_name="benchmarksnapshot",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    models.Q(("number__isnull", False), ("state", "succeeded"), ("taken_at__isnull", False)),
                    models.Q(
                        models.Q(("state", "succeeded"), _negated=True),
                        ("number__isnull", True),
                        ("taken_at__isnull", True),
                    ),
                    _connector="OR",
                ),
                name="benchmark_snapshot_made_as_a_whole",
            ),
        ),
        migrations.AddIndex(
            model_name="benchmarkpart",
            index=models.Index(fields=["farm", "consent"], name="benchmark_part_by_consent"),
        ),
        migrations.AddConstraint(
            model_name="benchmarkpart",
            constraint=models.UniqueConstraint(fields=("farm", "snapshot"), name="benchmark_part_once"),
        ),
        migrations.AddConstraint(
            model_name="benchmarkcell",
            constraint=models.UniqueConstraint(
                fields=("snapshot", "measure", "dimension", "label"), name="benchmark_cell_once"
            ),
        ),
        migrations.AddConstraint(
            model_name="benchmarkcell",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    models.Q(("mean__isnull", False), ("reason_code", ""), models.Q(("growers", ""), _negated=True)),
                    models.Q(
                        ("growers", ""),
                        ("mean__isnull", True),
                        ("spread__isnull", True),
                        models.Q(("reason_code", ""), _negated=True),
                    ),
                    _connector="OR",
                ),
                name="benchmark_cell_told_as_a_whole",
            ),
        ),
        *farm_table("benchmark_part", Reference(["consent_id"], "consent"), keeps_history=False),
        ENDS_WITH_CONSENT,
        ENDS_WITH_FARM,
    ]
