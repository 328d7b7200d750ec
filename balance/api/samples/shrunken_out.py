"""Shrunken means as they are shown, beside the plain ones."""

from __future__ import annotations

from collections.abc import Iterable
from decimal import Decimal
from typing import Any, Final

from rest_framework import serializers

from balance.api.figures import ComputedOut, FigureOut, computed, figure
from balance.formulas.samples.shrinkage import METHOD, NO_SPREAD, Shrinkage, ShrunkenMean
from balance.formulas.samples.shrinkage_steps import shrinkage_steps
from records.units import from_canonical

ALIKE: Final = (
    "Blocks are drawn together as if they were alike: leave out those of another cultivar, age or training. A block "
    "that you know to be unlike the others is better told by its plain mean, or by weighing more vines."
)


class ShrunkenOut(serializers.Serializer[Any]):
    """A mean, plain and shrunken, and what each level weighs in it."""

    plain_mean = FigureOut()
    standard_error = FigureOut(help_text="Of the plain mean, from the spread pooled over the blocks.")
    shrunken_mean = FigureOut()
    weight_of_plain = serializers.FloatField(allow_null=True, help_text="0 to 1; the three weights add up to 1.")
    weight_of_farm = serializers.FloatField(allow_null=True, help_text="0 to 1")
    weight_of_program = serializers.FloatField(allow_null=True, help_text="0 to 1")


class DrawnTogetherOut(ComputedOut):
    """What every answer about shrunken means has."""

    program_mean = FigureOut(help_text="The mean over farms.")
    reasons = serializers.ListField(child=serializers.CharField(), help_text="Why a level was left out.")


def weight_shown(kilograms: float | None, unit: str, reason: str | None = None) -> dict[str, Any]:
    """Show a weight in the unit asked for, or the reason why there is none."""
    if kilograms is None:
        return figure(None, unit, reason=reason)
    return figure(kilograms * float(from_canonical(Decimal(1), unit)), unit)


def mean_shown(mean: ShrunkenMean, unit: str) -> dict[str, Any]:
    """Show one mean, plain and shrunken."""
    return {
        "plain_mean": weight_shown(mean.plain, unit),
        "standard_error": weight_shown(mean.standard_error, unit, NO_SPREAD),
        "shrunken_mean": weight_shown(mean.shrunken, unit),
        "weight_of_plain": mean.weight_of_plain,
        "weight_of_farm": mean.weight_of_farm,
        "weight_of_program": mean.weight_of_program,
    }


def together_shown(
    told: Shrinkage, inputs: Iterable[dict[str, Any]], unit: str, no_program: str | None
) -> dict[str, Any]:
    """Show what the means were drawn towards; ``no_program`` says why there is no mean beyond the farm's."""
    steps = shrinkage_steps(told, unit, float(from_canonical(Decimal(1), unit)))
    return {
        **computed(METHOD, inputs, steps, more=[ALIKE]),
        "program_mean": weight_shown(told.program_mean, unit, no_program),
        "reasons": list(told.reasons),
    }
