"""The shared catalogues and the units, for anybody."""

from __future__ import annotations

from decimal import Decimal
from typing import Any, ClassVar

from django.db.models import QuerySet
from drf_spectacular.utils import OpenApiExample, OpenApiParameter, extend_schema, extend_schema_field
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from records import units
from records.api.parameters import text_of
from records.api.strict import StrictCharField, StrictQuery
from records.api.views import OpenView
from records.models import Cultivar, CultivarGroup, PruningFormula

FORMULA_EXAMPLE = {
    "code": "american-30-10-lb",
    "formula_version": 1,
    "label": "30+10 per lb",
    "kind": "first_and_further",
    "first_nodes": 30,
    "further_nodes": 10,
    "weight_unit": {"value": 1, "unit": "[lb_av]", "kg": 0.45359237},
    "lowest_units": 1,
    "highest_units": None,
    "minimum_nodes": None,
    "maximum_nodes": None,
    "owner": "shared",
    "group": "american",
    "cultivar": None,
    "is_default": True,
    "cluster_thinning": "no",
    "region": "Ohio",
    "year": 2023,
    "source": "Ohio State Univ., 2023 Grape Pruning Primer, Table 1",
    "source_mark": "READ",
    "note": "",
}
_CULTIVAR_EXAMPLE = {
    "code": "concord",
    "name": "Concord",
    "group": "american",
    "vivc_number": None,
    "source": "Univ. Illinois Ext., Pruning and training grape vines",
    "source_mark": "READ",
    "note": "",
}
_GROUP_EXAMPLE = {
    "code": "american",
    "name": "American bunch grapes",
    "source": "Ohio State Univ., 2023 Grape Pruning Primer, Table 1",
    "source_mark": "READ",
    "note": "",
}


class WeightUnit(serializers.Serializer[Any]):
    """One unit of weight of a formula."""

    value = serializers.DecimalField(max_digits=9, decimal_places=3)
    unit = serializers.CharField(help_text="UCUM code.")
    kg = serializers.DecimalField(max_digits=20, decimal_places=14)


class FormulaOut(serializers.ModelSerializer[PruningFormula]):
    """A formula with its source; its numbers belong to its own unit of weight."""

    lowest_units = serializers.SerializerMethodField(
        help_text="It holds from this many units of weight on; null: a fixed number at any weight."
    )
    owner = serializers.SerializerMethodField(help_text="Whose it is: everybody's, a farm's or a program's own.")
    weight_unit = serializers.SerializerMethodField(help_text="The unit of weight that A and B belong to.")

    class Meta:
        model = PruningFormula
        fields = [*FORMULA_EXAMPLE]

    @extend_schema_field({"type": ["number", "null"]})
    def get_lowest_units(self, formula: PruningFormula) -> Decimal | None:
        lowest = formula.holds_from_units
        return None if lowest is None else lowest.normalize()

    @extend_schema_field({"type": "string", "enum": ["shared", "farm", "program"]})
    def get_owner(self, formula: PruningFormula) -> str:
        return formula.owner

    def get_weight_unit(self, formula: PruningFormula) -> WeightUnit:
        return {  # type: ignore[return-value]
            "value": formula.weight_unit_value.normalize(),
            "unit": formula.weight_unit,
            "kg": formula.weight_unit_kg.normalize(),
        }


class CultivarOut(serializers.ModelSerializer[Cultivar]):
    """A cultivar of the catalogue."""

    class Meta:
        model = Cultivar
        fields = [*_CULTIVAR_EXAMPLE]


class GroupOut(serializers.ModelSerializer[CultivarGroup]):
    """A group of cultivars."""

    class Meta:
        model = CultivarGroup
        fields = [*_GROUP_EXAMPLE]


class UnitOut(serializers.Serializer[Any]):
    """A unit that quantities may be sent in."""

    code = serializers.CharField(help_text="UCUM code; case matters.")
    name = serializers.CharField()
    dimension = serializers.CharField()
    canonical = serializers.CharField(help_text="The unit in which the service computes.")
    factor = serializers.DecimalField(max_digits=30, decimal_places=18, help_text="One of it in the canonical unit.")


class CatalogueView(OpenView):
    """A list of a shared catalogue."""

    pagination_class = OpenView.pagination_class
    keyset: ClassVar[tuple[str, ...]] = ("code",)

    def page(self, rows: QuerySet[Any]) -> Response:
        """Answer with one page of the rows."""
        return self.get_paginated_response(self.get_serializer(self.paginate_queryset(rows), many=True).data)


class Formulas(CatalogueView):
    """The pruning formulas."""

    keyset = ("code", "formula_version")
    serializer_class = FormulaOut

    @extend_schema(
        summary="List pruning formulas",
        description="Shared formulas of three kinds, each version with region, year and source."
        " What a farm or program adds is at its own address.",
        parameters=[OpenApiParameter("group", text_of(40), description="Only formulas for this group of cultivars.")],
        responses=FormulaOut(many=True),
        tags=["catalogues"],
        examples=[OpenApiExample("30+10", value=FORMULA_EXAMPLE, response_only=True)],
    )
    def get(self, request: Request) -> Response:
        query = StrictQuery.of(request, paged=True, group=StrictCharField(max_length=40))
        return self.page(PruningFormula.objects.filter(owner_farm=None, owner_program=None, **query))


class Cultivars(CatalogueView):
    """The cultivars."""

    serializer_class = CultivarOut

    @extend_schema(
        summary="List cultivars",
        description="The cultivars that the service knows, by code.",
        parameters=[OpenApiParameter("group", text_of(40), description="Only cultivars of this group.")],
        responses=CultivarOut(many=True),
        tags=["catalogues"],
        examples=[OpenApiExample("Concord", value=_CULTIVAR_EXAMPLE, response_only=True)],
    )
    def get(self, request: Request) -> Response:
        query = StrictQuery.of(request, paged=True, group=StrictCharField(max_length=40))
        return self.page(Cultivar.objects.filter(**query))


class CultivarGroups(CatalogueView):
    """The groups of cultivars."""

    serializer_class = GroupOut

    @extend_schema(
        summary="List groups of cultivars",
        description="The groups for which extension tables print a common formula.",
        responses=GroupOut(many=True),
        tags=["catalogues"],
        examples=[OpenApiExample("American", value=_GROUP_EXAMPLE, response_only=True)],
    )
    def get(self, request: Request) -> Response:
        StrictQuery.of(request, paged=True)
        return self.page(CultivarGroup.objects.all())


class Units(OpenView):
    """The units."""

    pagination_class = None
    serializer_class = UnitOut

    @extend_schema(
        summary="List units",
        description="The units that quantities may be sent in, with their exact factors.",
        responses=UnitOut(many=True),
        tags=["catalogues"],
        examples=[
            OpenApiExample(
                "Pound",
                response_only=True,
                value={
                    "code": "[lb_av]",
                    "name": "pound",
                    "dimension": "mass",
                    "canonical": "kg",
                    "factor": 0.45359237,
                },
            )
        ],
    )
    def get(self, request: Request) -> Response:
        StrictQuery.of(request)
        return Response(UnitOut(units.listed(), many=True).data)
