"""Ranges that figures are held against: the shared list, and how a range is shown."""

from __future__ import annotations

from drf_spectacular.utils import OpenApiExample, OpenApiParameter, extend_schema, extend_schema_field
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from records.api.catalogue import CatalogueView
from records.api.own_catalogue import GROUP, MARK_SAYS
from records.api.strict import AnyField, StrictCharField, StrictQuery
from records.models import BalanceRange, Measure
from records.services.own_catalogue import shared

RANGE_EXAMPLE = {
    "code": "invented-crop-load",
    "range_version": 1,
    "label": "Crop load (invented)",
    "measure": "yield_to_pruning_weight",
    "low": 8,
    "high": 14,
    "unit": "1",
    "owner": "shared",
    "group": "american",
    "cultivar": None,
    "use": "juice",
    "canopy": "",
    "is_default": False,
    "region": "Harrow Vale (invented)",
    "year": 2026,
    "source": "Invented for this example",
    "source_mark": "READ",
    "note": "",
}
MEASURE = OpenApiParameter("measure", str, enum=Measure.values, description="Only ranges of this measure.")


class BalanceRangeOut(serializers.ModelSerializer[BalanceRange]):
    """A range with its source, in the unit of its measure."""

    owner = serializers.SerializerMethodField(help_text="Whose it is: everybody's, a farm's or a program's own.")
    source_mark = serializers.CharField(read_only=True, help_text=MARK_SAYS)

    class Meta:
        model = BalanceRange
        fields = [*RANGE_EXAMPLE]

    @extend_schema_field({"type": "string", "enum": ["shared", "farm", "program"]})
    def get_owner(self, row: BalanceRange) -> str:
        return row.owner


class Ranges(CatalogueView):
    """The shared ranges."""

    keyset = ("code", "range_version")
    serializer_class = BalanceRangeOut

    @extend_schema(
        summary="List ranges",
        description="The shared ranges that a figure of a block is held against, each version with region, year and "
        "source. What a farm or program adds is at its own address.",
        parameters=[MEASURE, GROUP],
        responses=BalanceRangeOut(many=True),
        tags=["catalogues"],
        examples=[OpenApiExample("A range", value=RANGE_EXAMPLE, response_only=True)],
    )
    def get(self, request: Request) -> Response:
        asked: dict[str, AnyField] = {
            "measure": serializers.ChoiceField(choices=Measure.choices),
            "group": StrictCharField(max_length=40),
        }
        query = StrictQuery.of(request, paged=True, **asked)
        return self.page(shared(BalanceRange).filter(**query))
