"""Ranges that a figure of a block is held against: shared ones, a farm's or program's own, and what a farm chose."""

from __future__ import annotations

from django.db import models
from django.db.models import F, Q

from records.models.base import FarmOwned, UUIDv7, one_of
from records.models.catalogue import (
    SOURCE_MARKS,
    Cultivar,
    CultivarGroup,
    Owned,
    Sourced,
    named_for_its_owner,
    one_row_a_version,
)
from records.models.vineyards import Block, Use


class Measure(models.TextChoices):
    """What a range is about; each measure has one unit, in which all its ranges are given (see ``UNIT_OF``)."""

    YIELD_TO_PRUNING_WEIGHT = "yield_to_pruning_weight", "yield : pruning weight"
    PRUNING_WEIGHT_PER_CANOPY_METRE = "pruning_weight_per_canopy_metre", "pruning weight per metre of canopy"
    PRUNING_WEIGHT_PER_ROW_METRE = "pruning_weight_per_row_metre", "pruning weight per metre of row"
    MEAN_CANE_WEIGHT = "mean_cane_weight", "mean weight of a cane"
    LEAF_AREA_PER_YIELD = "leaf_area_per_yield", "leaf area per yield"
    LEAF_AREA_PER_CANOPY_METRE = "leaf_area_per_canopy_metre", "leaf area per metre of canopy"
    SHOOTS_PER_CANOPY_METRE = "shoots_per_canopy_metre", "shoots per metre of canopy"
    NODES_PER_CANOPY_METRE = "nodes_per_canopy_metre", "count nodes per metre of canopy"
    SOLUBLE_SOLIDS = "soluble_solids", "soluble solids at harvest"


#: UCUM codes.
UNIT_OF = {
    Measure.YIELD_TO_PRUNING_WEIGHT: "1",
    Measure.PRUNING_WEIGHT_PER_CANOPY_METRE: "kg/m",
    Measure.PRUNING_WEIGHT_PER_ROW_METRE: "kg/m",
    Measure.MEAN_CANE_WEIGHT: "g",
    Measure.LEAF_AREA_PER_YIELD: "m2/kg",
    Measure.LEAF_AREA_PER_CANOPY_METRE: "m2/m",
    Measure.SHOOTS_PER_CANOPY_METRE: "/m",
    Measure.NODES_PER_CANOPY_METRE: "/m",
    Measure.SOLUBLE_SOLIDS: "{Brix}",
}


class Canopy(models.TextChoices):
    """Whether a range is for one curtain of leaves a row, or for a canopy divided into several."""

    SINGLE = "single", "single"
    DIVIDED = "divided", "divided"


class BalanceRange(Sourced, Owned):
    """One version of one range that a figure is held against, e.g. crop load of Concord for juice.

    A version is never changed: a correction is a new version.  Limits belong to the range; a side without one is empty.
    """

    id = models.UUIDField(primary_key=True, db_default=UUIDv7(), editable=False)
    code = models.SlugField(max_length=60)
    range_version = models.PositiveSmallIntegerField(default=1)
    label = models.CharField(max_length=120)
    measure = models.CharField(max_length=40, choices=Measure.choices)
    low = models.DecimalField(max_digits=12, decimal_places=5, null=True, blank=True)
    high = models.DecimalField(max_digits=12, decimal_places=5, null=True, blank=True)
    unit = models.CharField(max_length=20, help_text="UCUM code; the unit of its measure.")
    group = models.ForeignKey(CultivarGroup, null=True, blank=True, on_delete=models.PROTECT, related_name="+")
    cultivar = models.ForeignKey(Cultivar, null=True, blank=True, on_delete=models.PROTECT, related_name="+")
    use = models.CharField(max_length=10, choices=Use.choices, blank=True, help_text="Empty: any use of the fruit.")
    canopy = models.CharField(max_length=10, choices=Canopy.choices, blank=True, help_text="Empty: either.")
    is_default = models.BooleanField(
        default=False, help_text="It holds for its cultivar or group and use unless another was chosen."
    )
    region = models.CharField(max_length=120, blank=True)
    year = models.PositiveSmallIntegerField(null=True, blank=True)

    class Meta:
        db_table = "balance_range"
        ordering = ["code", "range_version"]
        constraints = [
            one_row_a_version("balance_range", "range_version"),
            named_for_its_owner("balance_range"),
            one_of("balance_range_measure_known", "measure", Measure.values),
            one_of("balance_range_canopy_known", "canopy", ["", *Canopy.values]),
            one_of("balance_range_use_known", "use", ["", *Use.values]),
            one_of("balance_range_source_mark_known", "source_mark", SOURCE_MARKS),
            models.CheckConstraint(
                name="balance_range_has_a_limit", condition=Q(low__isnull=False) | Q(high__isnull=False)
            ),
            models.CheckConstraint(
                name="balance_range_low_below_high",
                condition=Q(low__isnull=True) | Q(high__isnull=True) | Q(low__lte=F("high")),
            ),
            models.CheckConstraint(
                name="balance_range_default_says_for_whom",
                condition=Q(is_default=False)
                | Q(owner_farm__isnull=True, owner_program__isnull=True, cultivar__isnull=False)
                | Q(owner_farm__isnull=True, owner_program__isnull=True, group__isnull=False),
            ),
        ]

    def __str__(self) -> str:
        return f"{self.label} (version {self.range_version})"


class RangeChoice(FarmOwned):
    """The range that a farm chose for one measure: for one block, or, without a block, for all that chose none."""

    block = models.ForeignKey(
        Block, null=True, blank=True, on_delete=models.PROTECT, related_name="+", db_constraint=False, db_index=False
    )
    measure = models.CharField(max_length=40, choices=Measure.choices)
    range = models.ForeignKey(BalanceRange, on_delete=models.PROTECT, related_name="+", db_index=False)

    class Meta:
        db_table = "range_choice"
        constraints = [
            models.UniqueConstraint(
                name="range_choice_once_a_block_and_measure",
                fields=["farm", "block", "measure"],
                nulls_distinct=False,
            ),
            one_of("range_choice_measure_known", "measure", Measure.values),
        ]

    def __str__(self) -> str:
        return f"{self.measure} of {self.block_id or 'the farm'}"
