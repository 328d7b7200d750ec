"""Catalogues that all farms share: cultivars and pruning formulas, each row with its source."""

from __future__ import annotations

from decimal import Decimal

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


class FormulaKind(models.TextChoices):
    """How a formula turns weight into nodes."""

    FIRST_AND_FURTHER = "first_and_further", "A nodes for the first unit of weight, B for each further"
    PER_UNIT = "per_unit", "so many nodes for each unit of weight"
    FIXED = "fixed", "so many nodes, whatever was weighed"


class Owned(models.Model):
    """Base of what a farm or a program may add to a shared catalogue; row-level security shows it to nobody else."""

    owner_farm = models.ForeignKey(
        "records.Farm",
        null=True,
        blank=True,
        on_delete=models.CASCADE,
        related_name="+",
        db_index=False,
        db_constraint=False,
        help_text="The farm whose own it is; empty: not a farm's.",
    )
    owner_program = models.ForeignKey(
        "records.Program",
        null=True,
        blank=True,
        on_delete=models.PROTECT,
        related_name="+",
        db_index=False,
        help_text="The program whose own it is; empty: not a program's.",
    )

    class Meta:
        abstract = True

    @property
    def owner(self) -> str:
        """Whose it is: ``shared``, ``farm`` or ``program``."""
        if self.owner_farm_id is not None:
            return "farm"
        return "program" if self.owner_program_id is not None else "shared"


def named_for_its_owner(table: str) -> models.CheckConstraint:
    """Give the constraint that a code tells whose it is, so that no two owners' codes can be taken for each other."""
    shared = Q(owner_farm__isnull=True, owner_program__isnull=True)
    return models.CheckConstraint(
        name=f"{table}_named_for_its_owner",
        condition=(shared & ~Q(code__startswith="own-") & ~Q(code__startswith="program-"))
        | Q(owner_farm__isnull=False, owner_program__isnull=True, code__startswith="own-")
        | Q(owner_farm__isnull=True, owner_program__isnull=False, code__startswith="program-"),
    )


def one_row_a_version(table: str, version: str) -> models.UniqueConstraint:
    """Give the constraint that an owner's code has one row a version."""
    return models.UniqueConstraint(
        name=f"{table}_once_a_version_of_its_owner",
        fields=["code", version, "owner_farm", "owner_program"],
        nulls_distinct=False,
    )


class PruningFormula(Sourced, Owned):
    """One version of one formula that turns pruning weight into count nodes, e.g. "A+B" per pound.

    The unit of weight belongs to the formula; its numbers are never converted.  A version is never changed:
    a correction is a new version.
    """

    id = models.UUIDField(primary_key=True, db_default=UUIDv7(), editable=False)
    code = models.SlugField(max_length=60)
    kind = models.CharField(
        max_length=20,
        choices=FormulaKind.choices,
        default=FormulaKind.FIRST_AND_FURTHER,
        db_default=FormulaKind.FIRST_AND_FURTHER,
        help_text="How it turns weight into nodes.",
    )
    formula_version = models.PositiveSmallIntegerField(default=1)
    label = models.CharField(max_length=120)
    first_nodes = models.DecimalField(
        max_digits=6, decimal_places=2, help_text="A, or the fixed number [nodes]; 0 where nodes go by the unit alone."
    )
    further_nodes = models.DecimalField(
        max_digits=6, decimal_places=2, help_text="B, or the nodes for each unit [nodes per unit]; 0 where fixed."
    )
    weight_unit_value = models.DecimalField(max_digits=9, decimal_places=3, help_text="How much one unit is.")
    weight_unit = models.CharField(max_length=20, help_text="UCUM code of the unit of weight.")
    weight_unit_kg = models.DecimalField(max_digits=20, decimal_places=14, help_text="One unit [kg], exactly.")
    lowest_units = models.DecimalField(
        max_digits=7,
        decimal_places=3,
        null=True,
        blank=True,
        help_text="It holds from this many units of weight on; empty: from one, and a fixed number at any weight.",
    )
    highest_units = models.DecimalField(
        max_digits=7, decimal_places=3, null=True, blank=True, help_text="It holds up to here; empty: no source says."
    )
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
            one_row_a_version("pruning_formula", "formula_version"),
            named_for_its_owner("pruning_formula"),
            one_of("pruning_formula_kind_known", "kind", FormulaKind.values),
            models.CheckConstraint(
                name="pruning_formula_numbers_of_its_kind",
                condition=Q(kind="first_and_further")
                | Q(kind="per_unit", first_nodes=0, further_nodes__gt=0)
                | Q(kind="fixed", further_nodes=0, first_nodes__gte=1),
            ),
            between("pruning_formula_lowest_units_sensible", "lowest_units", 0, 1000),
            between("pruning_formula_highest_units_sensible", "highest_units", 0, 1000),
            models.CheckConstraint(
                name="pruning_formula_lowest_below_highest_units",
                condition=Q(lowest_units__isnull=True)
                | Q(highest_units__isnull=True)
                | Q(lowest_units__lt=F("highest_units")),
            ),
            models.CheckConstraint(
                name="pruning_formula_only_shared_ones_answer_unasked",
                condition=Q(is_default=False) | Q(owner_farm__isnull=True, owner_program__isnull=True),
            ),
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

    @property
    def holds_from_units(self) -> Decimal | None:
        """The units of weight from which it holds: no source goes below one unit; a fixed number asks for none."""
        if self.lowest_units is not None:
            return self.lowest_units
        return None if self.kind == FormulaKind.FIXED else Decimal(1)
