"""The catalogue of printed rules of spacing, for anybody."""

from __future__ import annotations

from dataclasses import asdict
from typing import Any, Final

from drf_spectacular.utils import OpenApiExample, OpenApiParameter, extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from balance.formulas.methods import MARKS
from balance.spacing import UNITS, spacing_rules
from records.api.parameters import text_of
from records.api.strict import StrictCharField, StrictQuery
from records.api.views import OpenView

_EXAMPLE: Final = {
    "code": "north-carolina-spur-spacing",
    "version": 1,
    "label": "From spur to spur, North Carolina",
    "measure": "spur_spacing",
    "low": 0.0762,
    "high": 0.2032,
    "unit": "m",
    "printed": "3 to 8 in",
    "group": "",
    "cultivar": "",
    "region": "North Carolina",
    "year": None,
    "source": "NC State Extension Gardener, fig. 14-33",
    "source_mark": "READ",
    "note": "With 8 to 15 spurs of two buds on a cordon",
}


class SpacingRuleOut(serializers.Serializer[Any]):
    """One printed rule of spacing, with its source."""

    code = serializers.CharField()
    version = serializers.IntegerField()
    label = serializers.CharField()  # type: ignore[assignment]
    measure = serializers.ChoiceField(choices=[*UNITS], help_text="What is spaced or counted.")
    low = serializers.FloatField()
    high = serializers.FloatField(help_text="The same as low: the source prints one figure.")
    unit = serializers.CharField(help_text="UCUM code of low and high.")
    printed = serializers.CharField(help_text="As the source prints it.")
    group = serializers.CharField(help_text="Code of a group of cultivars; empty: none in particular.")
    cultivar = serializers.CharField(help_text="Code of a cultivar; empty: none in particular.")
    region = serializers.CharField(help_text="Empty: not stated.")
    year = serializers.IntegerField(allow_null=True)
    source = serializers.CharField()  # type: ignore[assignment]
    source_mark = serializers.ChoiceField(choices=MARKS)
    note = serializers.CharField()


class SpacingRules(OpenView):
    """The printed rules of spacing."""

    pagination_class = None
    serializer_class = SpacingRuleOut

    @extend_schema(
        summary="List rules of spacing",
        description="How close nodes, shoots and spurs stand by what sources print, in SI units and as printed. They "
        "differ by region and cultivar, so none is a default and no verdict rests on one.",
        parameters=[
            OpenApiParameter("measure", str, enum=[*UNITS], description="Only rules of this measure."),
            OpenApiParameter(
                "group",
                text_of(40),
                description="Only rules for this group of cultivars, and those for none in particular.",
            ),
        ],
        responses=SpacingRuleOut(many=True),
        tags=["catalogues"],
        examples=[OpenApiExample("Spurs", value=_EXAMPLE, response_only=True)],
    )
    def get(self, request: Request) -> Response:
        query = StrictQuery.of(
            request, measure=serializers.ChoiceField(choices=[*UNITS]), group=StrictCharField(max_length=40)
        )
        rules = spacing_rules(query.get("measure"), query.get("group"))
        return Response(SpacingRuleOut([asdict(rule) for rule in rules], many=True).data)
