"""What is said of a block: sent, changed, and shown with and without its outline."""

from __future__ import annotations

from typing import Any

from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers

from records.api.boundaries import (
    BOUNDARY_EXAMPLE,
    COMPUTED_EXAMPLE,
    BoundaryField,
    ComputedAreaOut,
    computed_area_of,
)
from records.api.fields import (
    AreaIn,
    AreaOut,
    FormulaField,
    FormulaNamed,
    LengthIn,
    LengthOut,
    cultivar_field,
    cultivar_group_field,
    quantity_of,
)
from records.api.strict import StrictCharField, StrictIntegerField, StrictSerializer, StrictUUIDField
from records.models import Block
from records.models.vineyards import Shelter, Training, Use

BLOCK_EXAMPLE = {
    "id": "01991b5e-0000-7000-8000-0000000b10c1",
    "name": "Lower Terrace (invented)",
    "cultivar": "concord",
    "cultivar_group": None,
    "cultivar_as_named": "",
    "rootstock": "own roots",
    "year_planted": 2009,
    "row_spacing": {"value": 9, "unit": "[ft_i]", "m": 2.7432},
    "vine_spacing": {"value": 8, "unit": "[ft_i]", "m": 2.4384},
    "training": "bilateral_cordon",
    "shelter": "open_field",
    "pruning_formula": None,
    "maximum_nodes": None,
    "minimum_nodes": None,
    "use": "juice",
    "canopies": 1,
    "note": "",
    "declared_area": {"value": 0.9, "unit": "har", "m2": 9000},
    "computed_area": COMPUTED_EXAMPLE,
    "version": 1,
    "received_at": "2026-11-20T15:04:05Z",
    "changed_at": "2026-11-20T15:04:05Z",
}
BLOCK_WITH_BOUNDARY = {**BLOCK_EXAMPLE, "boundary": BOUNDARY_EXAMPLE}
NEW_BLOCK = {
    "name": "Lower Terrace (invented)",
    "cultivar": "concord",
    "rootstock": "own roots",
    "year_planted": 2009,
    "row_spacing": {"value": 9, "unit": "[ft_i]"},
    "vine_spacing": {"value": 8, "unit": "[ft_i]"},
    "training": "bilateral_cordon",
    "use": "juice",
    "canopies": 1,
    "declared_area": {"value": 0.9, "unit": "har"},
    "boundary": BOUNDARY_EXAMPLE,
}


class BlockChange(StrictSerializer):
    """What may be said of a block."""

    name = StrictCharField(max_length=120, required=False, help_text="Its own on the farm.")
    cultivar = cultivar_field(required=False, allow_null=True, help_text="Code from /cultivars.")
    cultivar_group = cultivar_group_field(
        required=False,
        allow_null=True,
        help_text="For a cultivar that the catalogue lacks: whose formula may answer.",
    )
    cultivar_as_named = StrictCharField(
        max_length=120, required=False, allow_blank=True, help_text="The cultivar in the farm's words."
    )
    rootstock = StrictCharField(max_length=80, required=False, allow_blank=True, help_text="Empty: not stated.")
    year_planted = StrictIntegerField(min_value=1700, max_value=2100, required=False, allow_null=True)
    row_spacing = LengthIn(required=False, allow_null=True, help_text="From row to row, 0.5 to 12 m.")
    vine_spacing = LengthIn(required=False, allow_null=True, help_text="From vine to vine, 0.3 to 12 m.")
    training = serializers.ChoiceField(choices=Training.choices, required=False, help_text="In the trade's terms.")
    shelter = serializers.ChoiceField(choices=Shelter.choices, required=False)
    pruning_formula = FormulaField(required=False, allow_null=True, help_text="The farm's choice for this block.")
    maximum_nodes = StrictIntegerField(
        min_value=1,
        max_value=1000,
        required=False,
        allow_null=True,
        help_text="A cap that the farm sets [nodes].",
    )
    minimum_nodes = StrictIntegerField(
        min_value=1,
        max_value=1000,
        required=False,
        allow_null=True,
        help_text="The fewest nodes that the farm keeps on a vine [nodes].",
    )
    use = serializers.ChoiceField(
        choices=Use.choices, required=False, allow_blank=True, help_text="What the fruit is grown for; empty: not said."
    )
    canopies = StrictIntegerField(
        min_value=1,
        max_value=4,
        required=False,
        allow_null=True,
        help_text="Curtains of leaves a row: 2 where the canopy is divided.",
    )
    note = StrictCharField(max_length=4000, required=False, allow_blank=True, multiline=True)
    declared_area = AreaIn(
        required=False, allow_null=True, help_text="What the farm reckons with; acre means the international acre."
    )
    boundary = BoundaryField(required=False, allow_null=True, help_text="The outline, as GeoJSON.")


class BlockPatch(BlockChange):
    """A change of a block, with its reason."""

    reason = StrictCharField(
        max_length=400, required=False, allow_blank=True, help_text="Why; kept with the old version."
    )


class BlockIn(BlockChange):
    """A new block."""

    id = StrictUUIDField(required=False, help_text="Made by the client, so that sending again is safe.")
    name = StrictCharField(max_length=120, help_text="Its own on the farm.")


class BlockOut(serializers.ModelSerializer[Block]):
    """A block; its outline stands where one block is read, and in the list as GeoJSON."""

    row_spacing = serializers.SerializerMethodField(help_text="From row to row.")
    vine_spacing = serializers.SerializerMethodField(help_text="From vine to vine.")
    pruning_formula = FormulaNamed()
    declared_area = serializers.SerializerMethodField(help_text="What the farm reckons with.")
    computed_area = serializers.SerializerMethodField(help_text="What the boundary encloses.")

    class Meta:
        model = Block
        fields = [*BLOCK_EXAMPLE]

    @extend_schema_field(LengthOut(allow_null=True))
    def get_row_spacing(self, block: Block) -> dict[str, Any] | None:
        return quantity_of(block, "row_spacing", "length")

    @extend_schema_field(LengthOut(allow_null=True))
    def get_vine_spacing(self, block: Block) -> dict[str, Any] | None:
        return quantity_of(block, "vine_spacing", "length")

    @extend_schema_field(AreaOut(allow_null=True))
    def get_declared_area(self, block: Block) -> dict[str, Any] | None:
        return quantity_of(block, "declared_area", "area")

    @extend_schema_field(ComputedAreaOut(allow_null=True))
    def get_computed_area(self, block: Block) -> dict[str, Any] | None:
        return computed_area_of(block)


class BlockWithBoundary(BlockOut):
    """A block with its outline."""

    boundary = BoundaryField(read_only=True, allow_null=True, help_text="The outline, wound by the right-hand rule.")

    class Meta:
        model = Block
        fields = [*BLOCK_WITH_BOUNDARY]
