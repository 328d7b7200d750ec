"""How a figure is shown that a sample tells: with its standard error, its interval, and what they rest on."""

from __future__ import annotations

import math
from collections.abc import Iterable
from decimal import Decimal
from typing import Any

from drf_spectacular.utils import OpenApiParameter
from rest_framework import serializers

from balance.api.figures import FigureOut, figure
from balance.formulas.yields.estimates import Estimate
from balance.formulas.yields.propagation import CONFIDENCE, interval_of
from records.api.strict import StrictDecimalField

#: What nobody asked for otherwise [%].
USUAL_CONFIDENCE = 95.0
CONFIDENCE_PARAMETER = OpenApiParameter(
    "confidence",
    {"type": "number", "minimum": CONFIDENCE[0], "maximum": CONFIDENCE[1]},
    description="Of the intervals [%]; 95 unless said.",
)


def confidence_field() -> StrictDecimalField:
    """Give the field of a confidence in per cent."""
    return StrictDecimalField(
        max_digits=27,
        decimal_places=12,
        min_value=int(CONFIDENCE[0]),
        max_value=Decimal(str(CONFIDENCE[1])),
        required=False,
        help_text="Of the intervals [%]; 95 unless said.",
    )


class EstimatedOut(FigureOut):
    """A figure with its interval, or the reason why there is none."""

    standard_error = serializers.FloatField(allow_null=True, help_text="In the same unit; null: nothing tells.")
    low = serializers.FloatField(allow_null=True, help_text="Lower end of the interval, never below zero.")
    high = serializers.FloatField(allow_null=True, help_text="Upper end of the interval.")
    degrees_of_freedom = serializers.FloatField(
        allow_null=True, help_text="Of Student's t; null: without end (exact, or taken as known), or no interval."
    )
    n = serializers.IntegerField(
        allow_null=True, help_text="Vines, clusters or seasons behind it; null: not one sample."
    )
    no_interval = serializers.CharField(allow_null=True, help_text="Why there is no interval.")


def estimated(
    estimate: Estimate | None, unit: str, confidence: float, *, reason: str | None = None, unknown: str = ""
) -> dict[str, Any]:
    """Show an estimate in its own unit; ``unknown`` names what nothing tells the spread of."""
    if estimate is None:
        empty = dict.fromkeys(("standard_error", "low", "high", "degrees_of_freedom", "n"))
        return {**figure(None, unit, reason=reason), **empty, "no_interval": reason}
    interval = interval_of(estimate, confidence)
    freedom = estimate.degrees_of_freedom
    return {
        **figure(estimate.value, unit),
        "standard_error": estimate.standard_error,
        "low": interval.low if interval else None,
        "high": interval.high if interval else None,
        "degrees_of_freedom": freedom if interval and math.isfinite(freedom) else None,
        "n": estimate.n,
        "no_interval": None if interval else no_spread([unknown]),
    }


def no_spread(names: Iterable[str]) -> str:
    """Say of what nothing tells how well it is known.

    Examples
    --------
    >>> no_spread(["clusters per vine"])
    'Nothing tells how well this is known: clusters per vine. One value has no spread; send two or more, or its error.'
    """
    named = ", ".join(filter(None, names)) or "the figure itself"
    return f"Nothing tells how well this is known: {named}. One value has no spread; send two or more, or its error."
