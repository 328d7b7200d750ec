"""How many vines to weigh, for anybody."""

from __future__ import annotations

import math
from decimal import Decimal
from typing import Any

from drf_spectacular.utils import OpenApiExample, extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from balance.api.figures import ComputedOut, FigureOut, computed, figure, given
from balance.formulas.samples.sample_size import DEFAULT_REASON, DEFAULT_VARIATION, METHOD, SampleSize, vines_needed
from balance.formulas.samples.sample_steps import size_steps
from records.api.strict import StrictDecimalField, StrictIntegerField, StrictQuery, StrictSerializer
from records.api.views import OpenView

VINE = "{vine}"
ONE_OF_MANY = "One vine of many has no interval: a spread needs two."
_ASKED = {"error": 10, "confidence": 95, "coefficient_of_variation": 34.5, "vines": 352}


class SampleSizeQuestion(StrictSerializer):
    """How close the mean should be, and how unlike the vines are."""

    error = StrictDecimalField(
        max_digits=27,
        decimal_places=12,
        min_value=Decimal("0.1"),
        max_value=Decimal(100),
        help_text="Wanted error, half the interval [% of the mean].",
    )
    confidence = StrictDecimalField(
        max_digits=27,
        decimal_places=12,
        min_value=Decimal(50),
        max_value=Decimal("99.9"),
        required=False,
        help_text="Confidence level [%]; 95 unless said.",
    )
    coefficient_of_variation = StrictDecimalField(
        max_digits=27,
        decimal_places=12,
        min_value=Decimal(0),
        max_value=Decimal(500),
        required=False,
        allow_null=True,
        help_text="Of single vines [%], as the statistics of a block give it; without it a stated default answers.",
    )
    vines = StrictIntegerField(
        min_value=1,
        max_value=10_000_000,
        required=False,
        allow_null=True,
        help_text="Vines that stand in the block; without it, no finite correction.",
    )


class SpreadOut(serializers.Serializer[Any]):
    """How unlike the vines are taken to be, and where that comes from."""

    value = serializers.FloatField(help_text="Coefficient of variation of single vines [%].")
    unit = serializers.CharField(help_text="UCUM code.")
    taken_from = serializers.ChoiceField(
        choices=["request", "block", "default"],
        help_text="Sent, computed from the block's own weights, or the default.",
    )
    season = serializers.IntegerField(allow_null=True, help_text="The season of the block's own weights.")
    weights = serializers.IntegerField(allow_null=True, help_text="From how many weights.")
    reason = serializers.CharField(allow_null=True, help_text="Why the default answers.")


class SampleSizeOut(ComputedOut):
    """How many vines to weigh."""

    spread = SpreadOut()
    size = FigureOut(help_text="Vines to weigh.")
    without_correction = FigureOut(help_text="The same in a block without end.")
    expected_error = FigureOut(help_text="Half the interval that so many vines give [% of the mean].")


def answer(values: dict[str, Any]) -> dict[str, Any]:
    """Give the answer to a question."""
    error, confidence = float(values["error"]), float(values.get("confidence") or 95)
    told, population = values.get("coefficient_of_variation"), values.get("vines")
    variation = DEFAULT_VARIATION if told is None else float(told)
    size = vines_needed(error, confidence, variation, population)
    spread = {
        "value": variation,
        "unit": "%",
        "taken_from": "default" if told is None else "request",
        "season": None,
        "weights": None,
        "reason": DEFAULT_REASON if told is None else None,
    }
    source = "No coefficient of variation was sent: a stated default." if told is None else "As it was sent."
    inputs = [
        given("error", error, "%"),
        given("confidence", confidence, "%"),
        given("coefficient_of_variation", told, "%"),
        given("vines", population, VINE),
    ]
    steps = size_steps(size, (error, confidence), variation, population, source)
    return {**computed(METHOD, inputs, steps), "spread": spread, **size_figures(size)}


def size_figures(size: SampleSize | None, reason: str | None = None) -> dict[str, Any]:
    """Show a sample size with what it gives, or the reason why there is none."""
    if size is None:
        nothing = figure(None, VINE, reason=reason)
        return {"size": nothing, "without_correction": nothing, "expected_error": figure(None, "%", reason=reason)}
    known = math.isfinite(size.expected_error)
    return {
        "size": figure(size.vines, VINE),
        "without_correction": figure(size.without_correction, VINE),
        "expected_error": figure(size.expected_error if known else None, "%", reason=None if known else ONE_OF_MANY),
    }


class SampleSizeOf(OpenView):
    """A sample size, stored nowhere."""

    serializer_class = SampleSizeOut

    @extend_schema(
        summary="Compute how many vines to weigh for a mean",
        description="From the wanted error, the confidence and the coefficient of variation of single vines, by "
        "Student's t with the finite correction; never the formula for proportions, which knows nothing of how unlike "
        "the vines are. Without a coefficient of variation a stated default of 35 % answers.",
        request=SampleSizeQuestion,
        responses=SampleSizeOut,
        tags=["sampling"],
        examples=[
            OpenApiExample("A block of 352 vines", value=_ASKED, request_only=True),
            OpenApiExample("43 of them", value=answer(_ASKED), response_only=True),
        ],
    )
    def post(self, request: Request) -> Response:
        StrictQuery.of(request)
        sent = SampleSizeQuestion(data=request.data)
        sent.is_valid(raise_exception=True)
        return Response(answer(sent.validated_data))
