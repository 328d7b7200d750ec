"""What is kept of benchmarks: snapshots, what they tell, and what each farm brought to them.

Three tables, because three kinds of reader.  ``benchmark_snapshot`` and ``benchmark_cell`` belong to a program and hold
what has been through the privacy rules, so they stand outside the walls of farms, as programs and their reports do.
``benchmark_part`` holds what one farm brought, and which cells it stands in: it is the farm's own row, behind its wall,
so that a request sees it only where that farm is open.  No endpoint reads it but the farm's own export.  The service
needs it to judge the next snapshot beside this one; it goes with the farm when the farm is erased.
"""

from __future__ import annotations

from django.contrib.postgres.fields import ArrayField
from django.db import models
from django.db.models import Q

from balance.program_work.models import UNFINISHED, ProgramWork
from records.models import Consent
from records.models.base import FarmQuerySet, UUIDv7, between, one_of
from records.models.jobs import JobState


class BenchmarkSnapshot(ProgramWork):
    """What the growers of a program came to in one season, counted at one moment, and the work of making it.

    Once made it never changes.  Of what it told, nothing is shown any more in which a farm stands that has taken its
    consent back since: ``BenchmarkCell.holds_until``.
    """

    number = models.PositiveSmallIntegerField(null=True, help_text="Counts the snapshots of the season, from 1.")
    taken_at = models.DateTimeField(null=True, help_text="The moment that it stands for.")
    growers = models.CharField(max_length=5, blank=True, help_text="How many were counted, as a band.")
    made_by_version = models.CharField(max_length=60, blank=True)
    farm_erased = models.BooleanField(
        default=False, help_text="A farm that it counted was erased: what that brought cannot be looked at any more."
    )

    class Meta:
        db_table = "benchmark_snapshot"
        constraints = [
            one_of("benchmark_snapshot_state_known", "state", JobState.values),
            between("benchmark_snapshot_season_1900_to_2100", "season", 1900, 2100),
            models.UniqueConstraint(name="benchmark_snapshot_numbered", fields=["program", "season", "number"]),
            models.CheckConstraint(
                name="benchmark_snapshot_made_as_a_whole",
                condition=Q(state=JobState.SUCCEEDED, number__isnull=False, taken_at__isnull=False)
                | (~Q(state=JobState.SUCCEEDED) & Q(number__isnull=True, taken_at__isnull=True)),
            ),
        ]
        indexes = [
            models.Index(name="benchmark_snapshot_in_order", fields=["program", "-received_at", "-id"]),
            models.Index(
                name="benchmark_snapshot_to_be_made", fields=["leased_until"], condition=Q(state__in=list(UNFINISHED))
            ),
        ]

    def __str__(self) -> str:
        return f"benchmarks of season {self.season}: {self.state}"


class BenchmarkCell(models.Model):
    """One figure of a snapshot: a measure at one place of the hierarchy, told or withheld.

    The reasons are for the leads of the program alone.  ``holds_until`` is the first moment at which a consent of a
    farm in it ends: by its own date, or because it was taken back (the database sees to that, in the transaction that
    takes it back).
    """

    id = models.UUIDField(primary_key=True, db_default=UUIDv7(), editable=False)
    snapshot = models.ForeignKey(BenchmarkSnapshot, on_delete=models.PROTECT, related_name="cells", db_index=False)
    measure = models.CharField(max_length=20)
    dimension = models.CharField(max_length=10)
    label = models.CharField(max_length=120, blank=True, help_text="Empty for all growers together.")
    mean = models.FloatField(null=True)
    spread = models.FloatField(null=True, help_text="Standard deviation between plantings, weighted like the mean.")
    growers = models.CharField(max_length=5, blank=True, help_text="As a band; empty where nothing is told.")
    reason_code = models.CharField(max_length=40, blank=True)
    reason = models.CharField(max_length=400, blank=True, help_text="Why the mean is withheld.")
    spread_reason = models.CharField(max_length=400, blank=True)
    holds_until = models.DateTimeField(null=True, blank=True)

    class Meta:
        db_table = "benchmark_cell"
        constraints = [
            models.UniqueConstraint(name="benchmark_cell_once", fields=["snapshot", "measure", "dimension", "label"]),
            models.CheckConstraint(
                name="benchmark_cell_told_as_a_whole",
                condition=(Q(mean__isnull=False, reason_code="") & ~Q(growers=""))
                | (Q(mean__isnull=True, spread__isnull=True, growers="") & ~Q(reason_code="")),
            ),
        ]

    def __str__(self) -> str:
        return f"{self.measure}, {self.dimension} {self.label}".strip()


class BenchmarkPart(models.Model):
    """What one farm brought to one snapshot, and the cells that it stands in.

    ``brought`` lists the farm's plantings: what they are told apart by, and of each measure the sum and the weight.
    """

    id = models.UUIDField(primary_key=True, db_default=UUIDv7(), editable=False)
    farm = models.ForeignKey("records.Farm", on_delete=models.PROTECT, related_name="+", db_index=False)
    snapshot = models.ForeignKey(BenchmarkSnapshot, on_delete=models.PROTECT, related_name="+", db_index=False)
    consent = models.ForeignKey(
        Consent, on_delete=models.PROTECT, related_name="+", db_constraint=False, db_index=False
    )
    grower = models.CharField(max_length=64, help_text="One name for all farms of one grower, in this snapshot alone.")
    brought = models.JSONField()
    cells = ArrayField(models.UUIDField())

    objects = FarmQuerySet.as_manager()

    class Meta:
        db_table = "benchmark_part"
        constraints = [models.UniqueConstraint(name="benchmark_part_once", fields=["farm", "snapshot"])]
        indexes = [models.Index(name="benchmark_part_by_consent", fields=["farm", "consent"])]

    def __str__(self) -> str:
        return f"what {self.farm_id} brought to {self.snapshot_id}"
