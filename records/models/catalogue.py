"""Catalogues that all farms share: cultivars and pruning formulas, each row with its source."""

from __future__ import annotations

from django.db import models
from django.db.models import F, Q

from records.models.base import UUIDv7, between, one_of

SOURCE_MARKS = ["READ", "READ*", "MEMORY", "COMPUTED", "farm"]


class Sourced(models.Model):
    """Base of every catalogue row: where it comes from and how well that is known."""

    source = models.TextField(help_text="The publication, or 'common practice, no source'.")
    source_mark = models.CharField(
        max_length=10,
        help_text="READ: read in the source. READ*: read in a source of low authority. MEMORY: recalled, "
        "not seen. COMPUTED: arithmetic on figures that were read.",
    )
    note = models.TextField(blank=True)

    class Meta:
        abstract = True


class CultivarGroup(Sourced):
    """One group of cultivars that extension tables give a common formula, e.g. American bunch grapes."""

    code = models.SlugField(primary_key=True, max_length=40)
    name = models.CharField(max_length=120)

    class Meta:
        db_table = "cultivar_group"
        ordering = ["code"]

    def __str__(self) -> str:
        return self.name


class Cultivar(Sourced):
    """One cultivar of grapevine, with the group whose formula answers for it."""

    code = models.SlugField(primary_key=True, max_length=60)
    name = models.CharField(max_length=120)
    group = models.ForeignKey(CultivarGroup, on_delete=models.PROTECT, related_name="cultivars")
    vivc_number = models.PositiveIntegerField(
        null=True, blank=True, help_text="Variety number in the Vitis International Variety Catalogue."
    )

    class Meta:
        db_table = "cultivar"
        ordering = ["code"]

    def __str__(self) -> str:
        return self.name


class PruningFormula(Sourced):
    """One version of one published formula "A+B": A nodes for the first unit of weight, B for each further.

    The unit of weight belongs to the formula; A and B are never converted.  A version is never changed:
    a correction is a new version.
    """

    id = models.UUIDField(primary_key=True, db_default=UUIDv7(), editable=False)
    code = models.SlugField(max_length=60)
    formula_version = models.PositiveSmallIntegerField(default=1)
    label = models.CharField(max_length=120)
    first_nodes = models.DecimalField(max_digits=6, decimal_places=2, help_text="A [nodes]")
    further_nodes = models.DecimalField(max_digits=6, decimal_places=2, help_text="B [nodes per unit]")
    weight_unit_value = models.DecimalField(max_digits=9, decimal_places=3, help_text="How much one unit is.")
    weight_unit = models.CharField(max_length=20, help_text="UCUM code of the unit of weight.")
    weight_unit_kg = models.DecimalField(max_digits=20, decimal_places=14, help_text="One unit [kg], exactly.")
    minimum_nodes = models.PositiveSmallIntegerField(null=True, blank=True)
    maximum_nodes = models.PositiveSmallIntegerField(null=True, blank=True)
    group = models.ForeignKey(CultivarGroup, null=True, blank=True, on_delete=models.PROTECT, related_name="formulas")
    cultivar = models.ForeignKey(Cultivar, null=True, blank=True, on_delete=models.PROTECT, related_name="formulas")
    is_default = models.BooleanField(
        default=False, help_text="It answers for its cultivar or group unless told otherwise."
    )
    cluster_thinning = models.CharField(
        max_length=10, blank=True, help_text="Whether its source thins clusters with it."
    )
    region = models.CharField(max_length=120, blank=True)
    year = models.PositiveSmallIntegerField(null=True, blank=True)

    class Meta:
        db_table = "pruning_formula"
        ordering = ["code", "formula_version"]
        constraints = [
            models.UniqueConstraint(name="pruning_formula_one_row_a_version", fields=["code", "formula_version"]),
            models.UniqueConstraint(
                name="pruning_formula_one_default_a_cultivar",
                fields=["cultivar"],
                condition=Q(is_default=True, cultivar__isnull=False),
            ),
            models.UniqueConstraint(
                name="pruning_formula_one_default_a_group",
                fields=["group"],
                condition=Q(is_default=True, cultivar__isnull=True, group__isnull=False),
            ),
            between("pruning_formula_first_nodes_sensible", "first_nodes", 0, 500),
            between("pruning_formula_further_nodes_sensible", "further_nodes", 0, 500),
            between("pruning_formula_unit_positive", "weight_unit_kg", "0.001", 100),
            models.CheckConstraint(
                name="pruning_formula_minimum_below_maximum",
                condition=Q(minimum_nodes__isnull=True)
                | Q(maximum_nodes__isnull=True)
                | Q(minimum_nodes__lte=F("maximum_nodes")),
            ),
            one_of("pruning_formula_source_mark_known", "source_mark", SOURCE_MARKS),
        ]

    def __str__(self) -> str:
        return f"{self.label} (version {self.formula_version})"
