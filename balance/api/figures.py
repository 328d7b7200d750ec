"""How every computed figure is shown: by which method, from which inputs, in which unit, and held against what."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import asdict
from decimal import Decimal
from typing import Any, Final

from rest_framework import serializers

from balance.advice import CAUTIONS
from balance.formulas.methods import MARKS, Method, Working
from balance.formulas.ranges import ABOVE, BELOW, WITHIN, Range, judge
from records.units import Quantity

VERDICTS: Final = (BELOW, WITHIN, ABOVE)


class MethodOut(serializers.Serializer[Any]):
    """The way a figure was computed, with its source."""

    code = serializers.CharField()
    version = serializers.IntegerField()
    label = serializers.CharField()  # type: ignore[assignment]
    expression = serializers.CharField(help_text="The formula as people write it.")
    source = serializers.CharField()  # type: ignore[assignment]
    mark = serializers.ChoiceField(choices=MARKS, help_text="How well the source is known.")
    note = serializers.CharField(help_text="What the source leaves open, or where sources disagree.")


class InputOut(serializers.Serializer[Any]):
    """One thing that the computation was given, in the unit in which it was sent."""

    name = serializers.CharField()
    value = serializers.FloatField(allow_null=True, help_text="Null: not measured, or not said.")
    unit = serializers.CharField(help_text="UCUM code.")


class WorkingOut(serializers.Serializer[Any]):
    """One step of the computation."""

    label = serializers.CharField()  # type: ignore[assignment]
    sentence = serializers.CharField(help_text="The step in words.")
    calculation = serializers.CharField(help_text="The step as a sum.")
    value = serializers.FloatField(allow_null=True, help_text="What it leads to; null: no single number.")
    unit = serializers.CharField(help_text="UCUM code.")


class RangeOut(serializers.Serializer[Any]):
    """The range that a figure is held against, who assigned it and where it comes from."""

    code = serializers.CharField()
    version = serializers.IntegerField()
    low = serializers.FloatField(allow_null=True, help_text="Null: no lower limit.")
    high = serializers.FloatField(allow_null=True, help_text="Null: no upper limit.")
    unit = serializers.CharField(help_text="UCUM code.")
    applies_to = serializers.CharField(help_text="The cultivar or group, and the use of the fruit.")
    level = serializers.CharField(help_text="Where it was assigned.")
    source = serializers.CharField()  # type: ignore[assignment]
    mark = serializers.CharField()
    note = serializers.CharField()


class FigureOut(serializers.Serializer[Any]):
    """A figure, or the reason why there is none; a verdict only where a range is assigned."""

    value = serializers.FloatField(allow_null=True)
    unit = serializers.CharField(help_text="UCUM code.")
    reason = serializers.CharField(allow_null=True, help_text="Why there is no number.")
    range = RangeOut(allow_null=True, help_text="Null: nobody assigned one.")
    verdict = serializers.ChoiceField(choices=VERDICTS, allow_null=True, help_text="Null: no figure, or no range.")


class ComputedOut(serializers.Serializer[Any]):
    """What every computed answer carries beside its own members."""

    method = MethodOut()
    inputs = InputOut(many=True)
    steps = WorkingOut(many=True)
    cautions = serializers.ListField(child=serializers.CharField())


def computed(
    method: Method, inputs: Iterable[Mapping[str, Any]], steps: Iterable[Working], *, more: Iterable[str] = ()
) -> dict[str, Any]:
    """Give the members of ``ComputedOut``; ``more`` are cautions of this computation alone, shown first."""
    return {
        "method": asdict(method),
        "inputs": list(inputs),
        "steps": [asdict(step) for step in steps],
        "cautions": [*more, *CAUTIONS],
    }


def given(name: str, value: Quantity | Decimal | float | None, unit: str = "1") -> dict[str, Any]:
    """Show one input; a quantity is shown in its own unit."""
    if isinstance(value, Quantity):
        return {"name": name, "value": float(value.value), "unit": value.unit}
    return {"name": name, "value": None if value is None else float(value), "unit": unit}


def figure(
    value: float | None, unit: str, *, reason: str | None = None, assigned: Mapping[str, Any] | None = None
) -> dict[str, Any]:
    """Show a figure with its verdict; ``assigned`` is a range as ``RangeOut`` shows it, in the figure's unit."""
    limits = Range(assigned["low"], assigned["high"], assigned["unit"]) if assigned else None
    if limits is not None and limits.unit != unit:
        raise ValueError(f"a figure in {unit} cannot be held against a range in {limits.unit}")
    return {
        "value": value,
        "unit": unit,
        "reason": reason,
        "range": dict(assigned) if assigned else None,
        "verdict": judge(value, limits),
    }
