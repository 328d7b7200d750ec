"""Blocks, their rows and their vines."""

from __future__ import annotations

from django.db import models

from records.models.base import Followed, between, in_order_of_change, one_of, together
from records.models.catalogue import Cultivar, CultivarGroup, PruningFormula


class Training(models.TextChoices):
    """How the permanent wood is laid out, in the trade's terms."""

    BILATERAL_CORDON = "bilateral_cordon", "bilateral cordon"
    UNILATERAL_CORDON = "unilateral_cordon", "unilateral cordon"
    QUADRILATERAL_CORDON = "quadrilateral_cordon", "quadrilateral cordon"
    HEAD_TRAINED = "head_trained", "head trained"
    FOUR_ARM_KNIFFIN = "four_arm_kniffin", "four-arm Kniffin"
    UMBRELLA_KNIFFIN = "umbrella_kniffin", "umbrella Kniffin"
    GENEVA_DOUBLE_CURTAIN = "geneva_double_curtain", "Geneva double curtain"
    MUNSON = "munson", "Munson"
    OTHER = "other", "other"
    NOT_STATED = "not_stated", "not stated"


class Shelter(models.TextChoices):
    """Whether the block stands in the open or under plastic."""

    OPEN_FIELD = "open_field", "open field"
    HIGH_TUNNEL = "high_tunnel", "high tunnel"


class Use(models.TextChoices):
    """What the fruit is grown for."""

    JUICE = "juice", "juice"
    WINE = "wine", "wine"
    TABLE = "table", "table grapes"


class Block(Followed):
    """One block: vines of one cultivar on one rootstock, planted and trained alike, managed together."""

    name = models.CharField(max_length=120)
    cultivar = models.ForeignKey(
        Cultivar, null=True, blank=True, on_delete=models.PROTECT, related_name="+", db_index=False
    )
    cultivar_group = models.ForeignKey(
        CultivarGroup,
        null=True,
        blank=True,
        on_delete=models.PROTECT,
        related_name="+",
        db_index=False,
        help_text="For a cultivar that the catalogue does not know: the group whose formula may answer.",
    )
    cultivar_as_named = models.CharField(max_length=120, blank=True, help_text="The cultivar in the farm's words.")
    rootstock = models.CharField(max_length=80, blank=True, help_text="Empty: not stated. Own roots: 'own roots'.")
    year_planted = models.PositiveSmallIntegerField(null=True, blank=True)
    row_spacing_value = models.DecimalField(max_digits=27, decimal_places=12, null=True, blank=True)
    row_spacing_unit = models.CharField(max_length=20, blank=True, null=True)
    row_spacing_m = models.DecimalField(max_digits=30, decimal_places=24, null=True, blank=True)
    vine_spacing_value = models.DecimalField(max_digits=27, decimal_places=12, null=True, blank=True)
    vine_spacing_unit = models.CharField(max_length=20, blank=True, null=True)
    vine_spacing_m = models.DecimalField(max_digits=30, decimal_places=24, null=True, blank=True)
    training = models.CharField(max_length=30, choices=Training.choices, default=Training.NOT_STATED)
    shelter = models.CharField(max_length=12, choices=Shelter.choices, default=Shelter.OPEN_FIELD)
    pruning_formula = models.ForeignKey(
        PruningFormula,
        null=True,
        blank=True,
        on_delete=models.PROTECT,
        related_name="+",
        db_index=False,
        help_text="The formula that the farm chose for this block.",
    )
    maximum_nodes = models.PositiveSmallIntegerField(
        null=True, blank=True, help_text="A cap on the target that the farm sets for this block."
    )
    minimum_nodes = models.PositiveSmallIntegerField(
        null=True, blank=True, help_text="The fewest nodes that the farm keeps on a vine of this block."
    )
    use = models.CharField(
        max_length=10,
        choices=Use.choices,
        blank=True,
        db_default="",
        help_text="What the fruit is grown for; empty: not stated.",
    )
    canopies = models.PositiveSmallIntegerField(
        null=True, blank=True, help_text="Curtains of leaves a row: 2 where the canopy is divided. Empty: not stated."
    )
    note = models.TextField(blank=True, max_length=4000)
    boundary = models.JSONField(
        null=True,
        blank=True,
        help_text="GeoJSON Polygon or MultiPolygon (RFC 7946), rings wound by the right-hand rule.",
    )
    computed_area_m2 = models.DecimalField(
        max_digits=17, decimal_places=2, null=True, blank=True, help_text="Geodesic area of the boundary, WGS 84."
    )
    declared_area_value = models.DecimalField(max_digits=27, decimal_places=12, null=True, blank=True)
    declared_area_unit = models.CharField(max_length=20, blank=True, null=True)
    declared_area_m2 = models.DecimalField(max_digits=36, decimal_places=24, null=True, blank=True)

    class Meta:
        db_table = "block"
        constraints = [
            models.UniqueConstraint(name="block_name_once_a_farm", fields=["farm", "name"]),
            models.CheckConstraint(name="block_has_a_name", condition=~models.Q(name="")),
            together("block_row_spacing_whole", "row_spacing_value", "row_spacing_unit", "row_spacing_m"),
            together("block_vine_spacing_whole", "vine_spacing_value", "vine_spacing_unit", "vine_spacing_m"),
            between("block_row_spacing_0_5_to_12_m", "row_spacing_m", "0.5", 12),
            between("block_vine_spacing_0_3_to_12_m", "vine_spacing_m", "0.3", 12),
            together("block_declared_area_whole", "declared_area_value", "declared_area_unit", "declared_area_m2"),
            between("block_declared_area_1_m2_to_10000_ha", "declared_area_m2", 1, 100_000_000),
            together("block_boundary_with_its_area", "boundary", "computed_area_m2"),
            between("block_computed_area_1_m2_to_10000_ha", "computed_area_m2", 1, 100_000_000),
            between("block_year_planted_1700_to_2100", "year_planted", 1700, 2100),
            between("block_maximum_nodes_1_to_1000", "maximum_nodes", 1, 1000),
            between("block_minimum_nodes_1_to_1000", "minimum_nodes", 1, 1000),
            models.CheckConstraint(
                name="block_minimum_nodes_below_maximum",
                condition=models.Q(minimum_nodes__isnull=True)
                | models.Q(maximum_nodes__isnull=True)
                | models.Q(minimum_nodes__lte=models.F("maximum_nodes")),
            ),
            one_of("block_use_known", "use", ["", *Use.values]),
            between("block_canopies_1_to_4", "canopies", 1, 4),
            one_of("block_training_known", "training", Training.values),
            one_of("block_shelter_known", "shelter", Shelter.values),
        ]
        indexes = [in_order_of_change("block")]

    def __str__(self) -> str:
        return self.name


class Row(Followed):
    """One row of a block, numbered as the farm numbers it."""

    block = models.ForeignKey(Block, on_delete=models.PROTECT, related_name="+", db_constraint=False, db_index=False)
    number = models.PositiveSmallIntegerField()

    class Meta:
        db_table = "row"
        constraints = [
            models.UniqueConstraint(name="row_number_once_a_block", fields=["farm", "block", "number"]),
            between("row_number_1_to_9999", "number", 1, 9999),
        ]
        indexes = [in_order_of_change("row")]

    def __str__(self) -> str:
        return f"row {self.number}"


class Vine(Followed):
    """One vine: a place in a row, whatever plant stands there.

    Block and row number stand here too, held to the row by one composite foreign key, so that a block is
    read in walking order without a join.
    """

    block = models.ForeignKey(Block, on_delete=models.PROTECT, related_name="+", db_constraint=False, db_index=False)
    row = models.ForeignKey(Row, on_delete=models.PROTECT, related_name="+", db_constraint=False, db_index=False)
    row_number = models.PositiveSmallIntegerField()
    place = models.PositiveSmallIntegerField(help_text="Counted along the row, from 1.")
    label = models.CharField(max_length=60, blank=True, help_text="What the farm calls the vine, if anything.")
    rootstock = models.CharField(max_length=80, blank=True, help_text="Where it differs from the block's.")
    year_planted = models.PositiveSmallIntegerField(
        null=True, blank=True, help_text="Where it differs from the block's."
    )
    pruning_formula = models.ForeignKey(
        PruningFormula,
        null=True,
        blank=True,
        on_delete=models.PROTECT,
        related_name="+",
        db_index=False,
        help_text="The formula for this vine alone.",
    )

    class Meta:
        db_table = "vine"
        constraints = [
            models.UniqueConstraint(name="vine_place_once_a_row", fields=["farm", "block", "row_number", "place"]),
            models.UniqueConstraint(
                name="vine_label_once_a_block",
                fields=["farm", "block", "label"],
                condition=~models.Q(label=""),
            ),
            between("vine_place_1_to_9999", "place", 1, 9999),
            between("vine_year_planted_1700_to_2100", "year_planted", 1700, 2100),
        ]
        indexes = [in_order_of_change("vine")]

    def __str__(self) -> str:
        return self.label or f"row {self.row_number}, vine {self.place}"
