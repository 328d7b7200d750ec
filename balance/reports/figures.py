"""Figures of a report out of canonical values: in the units that were chosen, with interval, range and verdict."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Final

from balance.formulas.ranges import Range, judge
from balance.ranges import AssignedRange
from balance.reports.document import Figure
from balance.reports.quantities import Measure
from balance.reports.words import number, with_unit

PERCENT: Final = Measure("%", 1, 1)
POINTS: Final = Measure("percentage points", 1, 1)
RATIO: Final = Measure("", 1, 1)
NODES: Final = Measure("count nodes", 1, 0)
MEAN_NODES: Final = Measure("count nodes", 1, 1)
VINES: Final = Measure("vines", 1, 0)
BRIX: Final = Measure("°Brix", 1, 1)
ACIDITY: Final = Measure("g/L", 1, 1)
PH: Final = Measure("", 1, 2)


@dataclass(frozen=True)
class Ends:
    """The ends of an interval [canonical], and what it is called."""

    low: float | None
    high: float | None
    name: str


def figure(
    code: str,
    title: str,
    measure: Measure,
    value: float | int | None,
    *,
    n: int | None = None,
    ends: Ends | None = None,
    reason: str | None = "",
) -> Figure:
    """Give a figure out of canonical values; a reason is told only where there is no value."""
    known = ends is not None and value is not None and not (ends.low is None and ends.high is None)
    return Figure(
        code=code,
        title=title,
        value=_plain(measure, value),
        unit=measure.unit,
        digits=measure.digits,
        n=n,
        low=measure.of(ends.low) if known and ends else None,
        high=measure.of(ends.high) if known and ends else None,
        interval=ends.name if known and ends else "",
        reason=(reason or "") if value is None else "",
    )


def against(told: Figure, measure: Measure, value: float | None, assigned: AssignedRange | None) -> Figure:
    """Hold a figure against a range, if one is assigned; ``value`` and the range are in the unit of the range."""
    if assigned is None:
        return told
    shown = assigned.shown()
    return replace(
        told,
        range_low=measure.of(shown["low"]),
        range_high=measure.of(shown["high"]),
        range_source=range_said(assigned),
        verdict=judge(value, Range(shown["low"], shown["high"], shown["unit"])) or "",
    )


def range_said(assigned: AssignedRange) -> str:
    """Name a range with its version, its source and how well that is known."""
    row = assigned.range
    return f"{row.label}, version {row.range_version} ({row.source}; {row.source_mark})"


def written(measure: Measure, value: float) -> str:
    """Write a canonical value as it stands in a sentence."""
    return with_unit(number(measure.of(value) or 0.0, measure.digits), measure.unit)


def _plain(measure: Measure, value: float | int | None) -> float | int | None:
    """Keep a count a whole number."""
    return value if isinstance(value, int) and measure.factor == 1 else measure.of(value)
