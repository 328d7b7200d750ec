"""What the weights of a block say together."""

from __future__ import annotations

import uuid
from dataclasses import asdict
from decimal import Decimal
from typing import Any

from drf_spectacular.utils import OpenApiExample, OpenApiParameter, extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from balance.blocks import newest_season, weights_of_block
from balance.formulas.statistics import summarise
from records.api.parameters import SEASON
from records.api.strict import StrictIntegerField, StrictQuery
from records.api.views import FarmView
from records.services.vineyards import block_of
from records.units import from_canonical

UNITS = ("kg", "g", "[lb_av]", "[oz_av]")
_EXAMPLE = {
    "block": "01991b5e-0000-7000-8000-0000000b10c1",
    "season": 2027,
    "unit": "kg",
    "n": 349,
    "missing": 3,
    "mean": 2.681,
    "standard_deviation": 0.926,
    "coefficient_of_variation": 34.5,
    "minimum": 0.7,
    "median": 2.5,
    "maximum": 7.1,
    "reason": None,
}


class StatisticsOut(serializers.Serializer[Any]):
    """Descriptive statistics of the pruning weights of a block; null where there are too few."""

    block = serializers.UUIDField()
    season = serializers.IntegerField(allow_null=True)
    unit = serializers.CharField(help_text="UCUM code of mean, standard deviation, minimum, median and maximum.")
    n = serializers.IntegerField(help_text="Vines that were weighed.")
    missing = serializers.IntegerField(help_text="Vines that were not.")
    mean = serializers.FloatField(allow_null=True)
    standard_deviation = serializers.FloatField(allow_null=True, help_text="Of the sample: divisor n − 1.")
    coefficient_of_variation = serializers.FloatField(allow_null=True, help_text="[%]")
    minimum = serializers.FloatField(allow_null=True)
    median = serializers.FloatField(allow_null=True)
    maximum = serializers.FloatField(allow_null=True)
    reason = serializers.CharField(allow_null=True, help_text="Why a figure is null.")


class Statistics(FarmView):
    """The statistics of a block."""

    serializer_class = StatisticsOut
    pagination_class = None

    @extend_schema(
        summary="Read the statistics of a block's pruning weights",
        description="Number, mean, standard deviation, coefficient of variation, minimum, median and maximum over the "
        "vines that were weighed. A vine that was not weighed counts as missing, never as zero.",
        parameters=[
            OpenApiParameter("season", SEASON, description="Harvest year; without it, the newest that was recorded."),
            OpenApiParameter("unit", str, enum=UNITS, description="Unit of the answer; kg unless said."),
        ],
        responses=StatisticsOut,
        tags=["targets"],
        examples=[OpenApiExample("A block of 352 vines", value=_EXAMPLE, response_only=True)],
    )
    def get(self, request: Request, farm: uuid.UUID, block: uuid.UUID) -> Response:  # noqa: ARG002
        query = StrictQuery.of(
            request,
            season=StrictIntegerField(min_value=1900, max_value=2100),
            unit=serializers.ChoiceField(choices=UNITS),
        )
        found = block_of(self.opened, block)
        season = query.get("season") or newest_season(self.opened, found)
        unit = query.get("unit", "kg")
        summary = summarise(weights_of_block(self.opened, found, season) * float(from_canonical(Decimal(1), unit)))
        figures = asdict(summary)
        return Response(
            StatisticsOut(
                {"block": found.pk, "season": season, "unit": unit, **figures, "reason": _reason(summary.n)}
            ).data
        )


def _reason(n: int) -> str | None:
    if n == 0:
        return "No vine of the block was weighed in this season."
    return "One vine was weighed; a standard deviation needs two." if n == 1 else None
