"""What was computed and told to somebody, kept so that it can be defended or recalled."""

from __future__ import annotations

from django.db import models

from balance.benchmarks.models import BenchmarkCell, BenchmarkPart, BenchmarkSnapshot
from balance.cordons.models import CordonCase, CordonSettings, CordonStep
from balance.reports.models import (
    ProgramReport,
    ProgramReportFile,
    ProgramReportSchedule,
    Report,
    ReportFile,
    ReportFormula,
    ReportSchedule,
    WebhookDelivery,
    WebhookEndpoint,
)
from balance.summaries.models import BlockSeason, BlockSeasonMark
from records.models import DormantRecord, PruningFormula
from records.models.base import FarmOwned, one_of

__all__ = [
    "BenchmarkCell",
    "BenchmarkPart",
    "BenchmarkSnapshot",
    "BlockSeason",
    "BlockSeasonMark",
    "CordonCase",
    "CordonSettings",
    "CordonStep",
    "Level",
    "ProgramReport",
    "ProgramReportFile",
    "ProgramReportSchedule",
    "PruningTarget",
    "Report",
    "ReportFile",
    "ReportFormula",
    "ReportSchedule",
    "TargetStatus",
    "WebhookDelivery",
    "WebhookEndpoint",
]


class TargetStatus(models.TextChoices):
    """Whether there is a number, and if not, why."""

    OK = "ok", "ok"
    BELOW_FORMULA_RANGE = "below_formula_range", "below the formula's range"
    ABOVE_FORMULA_RANGE = "above_formula_range", "above the formula's range"
    YOUNG_VINE = "young_vine", "a vine in training"
    NOT_WEIGHED = "not_weighed", "not weighed"
    NO_FORMULA = "no_formula", "no formula answers for this vine"


class Level(models.TextChoices):
    """Where the formula was named, from the nearest to the farthest."""

    VINE = "vine", "vine"
    BLOCK = "block", "block"
    FARM = "farm", "farm"
    CULTIVAR = "cultivar", "cultivar"
    GROUP = "group", "cultivar group"
    REQUEST = "request", "the request itself"


class PruningTarget(FarmOwned):
    """One target as it was told: count nodes to keep on one vine, from one version of its record by one formula."""

    dormant_record = models.ForeignKey(
        DormantRecord, on_delete=models.PROTECT, related_name="+", db_constraint=False, db_index=False
    )
    record_version = models.PositiveIntegerField(help_text="The version of the record that it was computed from.")
    formula = models.ForeignKey(
        PruningFormula, null=True, blank=True, on_delete=models.PROTECT, related_name="+", db_index=False
    )
    level = models.CharField(max_length=10, choices=Level.choices, blank=True)
    status = models.CharField(max_length=24, choices=TargetStatus.choices)
    pruning_weight_kg = models.DecimalField(max_digits=30, decimal_places=24, null=True, blank=True)
    nodes_unrounded = models.DecimalField(max_digits=12, decimal_places=6, null=True, blank=True)
    nodes = models.PositiveIntegerField(
        null=True, blank=True, help_text="Count nodes to keep, capped where a cap is set."
    )

    class Meta:
        db_table = "pruning_target"
        constraints = [
            models.UniqueConstraint(
                name="pruning_target_once_as_it_was_told",
                fields=["farm", "dormant_record", "record_version", "formula", "status", "nodes"],
                nulls_distinct=False,
            ),
            one_of("pruning_target_status_known", "status", TargetStatus.values),
            models.CheckConstraint(
                name="pruning_target_number_exactly_when_ok",
                condition=models.Q(
                    status="ok", nodes__isnull=False, nodes_unrounded__isnull=False, formula__isnull=False
                )
                | (~models.Q(status="ok") & models.Q(nodes__isnull=True, nodes_unrounded__isnull=True)),
            ),
        ]
        indexes = [models.Index(name="pruning_target_by_formula", fields=["farm", "formula"])]

    def __str__(self) -> str:
        return f"{self.nodes if self.nodes is not None else self.status}"
