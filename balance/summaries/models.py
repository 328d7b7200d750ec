"""What is kept of each block and season, so that many of them are summed up without reading their records."""

from __future__ import annotations

from django.contrib.postgres.fields import ArrayField
from django.db import models
from django.db.models.functions import Now

from records.models import Block, Farm
from records.models.base import FarmOwned, FarmQuerySet, between


def _count() -> models.PositiveIntegerField:  # type: ignore[type-arg]
    return models.PositiveIntegerField(db_default=0)


def _amount(unit: str) -> models.FloatField:  # type: ignore[type-arg]
    return models.FloatField(null=True, blank=True, help_text=f"[{unit}]; empty where nothing was measured.")


def _amounts(unit: str) -> ArrayField:  # type: ignore[type-arg]
    return ArrayField(models.FloatField(), null=True, blank=True, help_text=f"At the shares of QUANTILES [{unit}].")


class BlockSeason(FarmOwned):
    """One block in one season: what its live records come to, as the database sums them up when one changes.

    ``balance.summaries.sql`` says how, ``balance.summaries.checking`` holds every column to a recount from the records.
    A row may be all zero: records of it were withdrawn, or only a neighbouring season has any.
    """

    block = models.ForeignKey(Block, on_delete=models.PROTECT, related_name="+", db_constraint=False, db_index=False)
    season = models.PositiveSmallIntegerField(help_text="Calendar year of the harvest.")

    places = _count()
    missing = _count()
    young_vines = _count()

    records = _count()
    weighed = _count()
    zero_weights = _count()
    far_out_weights = _count()
    without_resolution = _count()
    guessed = _count()
    weight_sum = _amount("kg")
    weight_mean = _amount("kg")
    weight_deviation = _amount("kg")
    weight_least = _amount("kg")
    weight_most = _amount("kg")
    weight_quantiles = _amounts("kg")
    weight_bins = ArrayField(
        models.PositiveIntegerField(), null=True, blank=True, help_text="Vines by weight, in bins of BIN_KG."
    )

    targets = _count()
    target_sum = _amount("nodes")
    below_range = _count()
    above_range = _count()
    in_training = _count()
    without_formula = _count()
    counted = _count()
    kept_sum = _amount("nodes")
    judged = _count()
    too_many = _count()
    too_few = _count()
    difference_sum = _amount("nodes")
    tolerance_sum = _amount("nodes")

    harvest_records = _count()
    block_recorded = models.BooleanField(db_default=False)
    block_yield = _amount("kg")
    sample_yield = _amount("kg a vine")
    sample_vines = _count()
    pairs = _count()
    pairs_crop = _amount("kg")
    pairs_wood = _amount("kg")
    vines_picked = _count()
    vine_yield_mean = _amount("kg")
    vine_yield_deviation = _amount("kg")
    vine_yield_quantiles = _amounts("kg")

    bud_samples = _count()
    shoot_counts = _count()
    cluster_counts = _count()

    inspections = _count()
    cordons = _count()
    cordons_by_position = _count()
    living_positions = _count()
    blank_positions = _count()
    cordons_by_length = _count()
    blank_length = _amount("m")
    cordon_length = _amount("m")
    cases = models.JSONField(db_default=models.Value({}, models.JSONField()), help_text="Cases by their newest step.")

    class Meta:
        db_table = "block_season"
        constraints = [
            models.UniqueConstraint(name="block_season_once", fields=["farm", "block", "season"]),
            between("block_season_1899_to_2100", "season", 1899, 2100),
        ]
        indexes = [models.Index(name="block_season_of_a_season", fields=["farm", "season", "block"])]

    def __str__(self) -> str:
        return f"block {self.block_id}, season {self.season}"


class BlockSeasonMark(models.Model):
    """One transaction that changed what one block's records of one season come to, until that was summed up anew."""

    pk = models.CompositePrimaryKey("farm", "block", "season", "written_by")
    farm = models.ForeignKey(Farm, on_delete=models.PROTECT, related_name="+", db_index=False, db_constraint=False)
    block = models.ForeignKey(Block, on_delete=models.PROTECT, related_name="+", db_index=False, db_constraint=False)
    season = models.PositiveSmallIntegerField(help_text="0 stands for every season; see PAIRS_OF.")
    written_by = models.BigIntegerField(help_text="The number of the transaction.")
    marked_at = models.DateTimeField(db_default=Now())

    objects = FarmQuerySet.as_manager()

    class Meta:
        db_table = "block_season_mark"

    def __str__(self) -> str:
        return f"block {self.block_id}, season {self.season}"
