"""Steps and ends of axes that people can read off."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

from balance.reports.charts.lettering import width_of

_STEPS: Final = (1.0, 2.0, 2.5, 5.0, 10.0)
#: Nothing that is measured on a farm differs by less; an axis so short would be all noughts.
_LEAST: Final = 1e-6


@dataclass(frozen=True)
class Ticks:
    """An axis: where its ticks stand, and how many decimals they need."""

    values: tuple[float, ...]
    decimals: int

    @property
    def domain(self) -> list[float]:
        return [self.values[0], self.values[-1]]

    @property
    def format(self) -> str:
        return f",.{self.decimals}f"


def nice_step(span: float, at_most: int) -> float:
    """Give the least of 1, 2, 2.5 or 5 times a power of ten that divides a span into so many parts at most.

    Examples
    --------
    >>> nice_step(1.9, 5), nice_step(100, 5)
    (0.5, 20.0)
    """
    rough = span / at_most
    power: float = 10.0 ** math.floor(math.log10(rough))
    return next(step * power for step in _STEPS if step * power >= rough * (1 - 1e-9))


def decimals_of(step: float) -> int:
    """Give how many decimals the multiples of a step need, up to twelve."""
    return next((digits for digits in range(12) if abs(round(step, digits) - step) < step * 1e-6), 12)


def ticks_of(low: float, high: float, at_most: int = 5, *, whole: bool = False) -> Ticks:
    """Give the ticks of an axis that holds two values; one between whole numbers has no halves."""
    span = high - low if high - low >= _LEAST else max(abs(high), abs(low))
    if span < _LEAST:
        span = 1.0
    step = nice_step(span, at_most)
    if whole:
        step = max(1.0, float(math.ceil(step)))
    first, last = math.floor(low / step + 1e-9), math.ceil(high / step - 1e-9)
    last = max(last, first + 1)
    decimals = decimals_of(step)
    return Ticks(tuple(round(number * step, decimals) + 0.0 for number in range(first, last + 1)), decimals)


def ticks_that_fit(low: float, high: float, at_most: int, length: float, size: float, *, whole: bool = False) -> Ticks:
    """Give as many ticks along a line of a length [px] as have room for their labels side by side."""
    for steps in range(at_most, 1, -1):
        ticks = ticks_of(low, high, steps, whole=whole)
        widest = max(width_of(number_said(value, ticks.decimals), size) for value in ticks.values)
        if (widest + 8) * (len(ticks.values) - 1) <= length:
            return ticks
    return ticks_of(low, high, 1, whole=whole)


def number_said(value: float, decimals: int) -> str:
    """Write a number as d3's ``,.Nf`` does: thousands parted by commas, a true minus sign."""
    said = f"{value:,.{decimals}f}"
    return said.replace("-", "\u2212") if said.strip("-0.,") else said.replace("-", "")
