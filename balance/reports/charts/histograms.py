"""How values are spread: bars with their counts, the centre with its interval, the range that somebody assigned."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Final

from balance.reports.charts.axes import plot_width
from balance.reports.charts.bands import Assigned, assigned_said, level_layers
from balance.reports.charts.lettering import width_of
from balance.reports.charts.palette import SKY_BLUE, VERMILLION
from balance.reports.charts.pieces import (
    LABEL_SIZE,
    LEAST_PLOT,
    Quantity,
    Spec,
    at,
    layer,
    quantitative,
    specification,
    words_mark,
)
from balance.reports.charts.scales import Ticks, ticks_of, ticks_that_fit
from balance.reports.document import Chart

_HEIGHT: Final = 150
_MOST_BARS: Final = 24
#: Between a count and the line of the centre [px].
_CLEAR: Final = 4
#: Above the highest bar there is room for its count.
_HEADROOM: Final = 1.18
_STEPS_OF_TICKS: Final = 8


@dataclass(frozen=True)
class Centre:
    """A mean or median with the ends of its interval, and what they are called."""

    name: str
    value: float
    low: float | None = None
    high: float | None = None
    interval: str = ""


def histogram(
    code: str,
    title: str,
    values: Sequence[float | None],
    *,
    of: Quantity,
    centre: Centre | None = None,
    assigned: Assigned | None = None,
) -> Chart:
    """Build a histogram.

    Parameters
    ----------
    values : sequence of float or None
        None or NaN means not measured: it is counted below the title and stands in no bar.
    of : Quantity
        What the values are; the title of the axis says its unit.
    centre : Centre, optional
        Where the middle lies, with its interval.
    assigned : Assigned, optional
        The range to judge by.
    """
    measured = [float(value) for value in values if value is not None and math.isfinite(value)]
    missing = len(values) - len(measured)
    below = [f"n = {len(measured)} {of.counted}" + (f"; {missing} not measured." if missing else ".")]
    if measured and centre is not None:
        below.append(_centre_said(centre, of))
    if assigned is not None:
        below.append(assigned_said(assigned, of.unit))
    described = f"Histogram. {of.title}. {' '.join(below)} {_told(measured, of)}"
    if not measured:
        return Chart(code, title, described, _empty(title, below, described, of))
    ticks = ticks_that_fit(*_ends(measured, centre, assigned), _STEPS_OF_TICKS, LEAST_PLOT, LABEL_SIZE)
    layers, up = _layers(_bars(measured, ticks), ticks, of, centre, assigned)
    return Chart(code, title, described, specification(title, below, described, (plot_width(up), _HEIGHT), layers))


def histogram_of_bins(
    code: str, title: str, counts: Sequence[int], width: float, *, of: Quantity, open_end: bool, said: Sequence[str]
) -> Chart:
    """Build a histogram of values that were counted in bins of equal width from zero on.

    Parameters
    ----------
    counts : sequence of int
        Of each bin up to the last one that is shown; neighbours are put together where their counts would not fit
        above the bars.
    width : float
        Of a bin [unit of ``of``].
    open_end : bool
        The last bin takes everything from its beginning on.
    said : sequence of str
        Sentences below the title after the number of values.
    """
    n = sum(counts)
    below = [f"n = {n:,} {of.counted}.", *said]
    described = f"Histogram. {of.title}. {' '.join(below)}"
    if not n:
        return Chart(code, title, described, _empty(title, below, described, of))
    put = next(put for put in (1, 2, 4, 8, 16, 32, 64) if len(counts) / put <= _most_bars(max(counts)) or put == 64)
    grouped = [sum(counts[first : first + put]) for first in range(0, len(counts), put)]
    bars = [(_edge(bar * put * width), _edge((bar + 1) * put * width), many) for bar, many in enumerate(grouped)]
    if open_end:
        below.append(f"The last bar takes everything from {of.said(bars[-1][0])} on.")
    described = f"Histogram. {of.title}. {' '.join(below)} " + " ".join(
        f"{of.said(low, '')} to {of.said(high)}: {many}." for low, high, many in bars if many
    )
    ticks = ticks_that_fit(0.0, bars[-1][1], _STEPS_OF_TICKS, LEAST_PLOT, LABEL_SIZE)
    layers, up = _layers(bars, ticks, of, None, None)
    return Chart(code, title, described, specification(title, below, described, (plot_width(up), _HEIGHT), layers))


def _most_bars(most: int) -> float:
    return min(_MOST_BARS, LEAST_PLOT / (width_of(f"{most:,}", LABEL_SIZE) + 4))


def _layers(
    bars: Sequence[tuple[float, float, int]], ticks: Ticks, of: Quantity, centre: Centre | None,
    assigned: Assigned | None,
) -> tuple[list[Spec], Spec]:  # fmt: skip
    """Give the layers of bars with what lies behind and above them, and the upright axis."""
    most = max(count for _, _, count in bars)
    across = quantitative(of.title, ticks, along=LEAST_PLOT)
    up = quantitative(of.counted.capitalize(), ticks_of(0, _HEADROOM * most, 4, whole=True), grid=True, along=_HEIGHT)
    layers = [
        *level_layers(assigned, across, "x"),
        layer(
            [{"from": low, "to": high, "n": count} for low, high, count in bars],
            {"type": "bar", "color": SKY_BLUE, "stroke": "#1a1a1a", "strokeWidth": 0.8},
            x=at(across, "from"), x2={"field": "to"}, y=at(up, "n"), y2={"datum": 0},
        ),
        layer(
            [{"middle": _aside(bar, ticks, centre), "n": bar[2], "label": str(bar[2])} for bar in bars if bar[2]],
            words_mark(dy=-4, align="center", baseline="bottom"),
            x=at(across, "middle"), y=at(up, "n"), text={"field": "label"},
        ),
        *_centre_layers(centre, across),
    ]  # fmt: skip
    return layers, up


def _aside(bar: tuple[float, float, int], ticks: Ticks, centre: Centre | None) -> float:
    """Give where the count stands over its bar: in the middle, or beside the line of the centre that would cross it."""
    low, high, count = bar
    middle = (low + high) / 2
    if centre is None:
        return middle
    half = (width_of(str(count), LABEL_SIZE) / 2 + _CLEAR) * (ticks.domain[1] - ticks.domain[0]) / LEAST_PLOT
    aside = centre.value - half if middle <= centre.value else centre.value + half
    # Over a narrow bar it would run into the count beside it.
    fits = low + half <= aside <= high - half
    return aside if abs(middle - centre.value) < half and fits else middle


def _centre_said(centre: Centre, of: Quantity) -> str:
    said = f"Dashed line: {centre.name} {of.said(centre.value)}"
    if centre.low is None or centre.high is None:
        return f"{said}."
    return f"{said}; thick bar at the top: {centre.interval} {of.said(centre.low, '')} to {of.said(centre.high)}."


def _told(measured: Sequence[float], of: Quantity) -> str:
    if not measured:
        return "Nothing was measured, so there are no bars."
    return f"The values lie between {of.said(min(measured), '')} and {of.said(max(measured))}."


def _ends(measured: Sequence[float], centre: Centre | None, assigned: Assigned | None) -> tuple[float, float]:
    also = [value for value in (assigned.low, assigned.high) if value is not None] if assigned else []
    if centre is not None:
        also += [value for value in (centre.value, centre.low, centre.high) if value is not None]
    known = [*measured, *(value for value in also if math.isfinite(value))]
    low, high = min(known), max(known)
    # From zero, unless all of it lies far from there.
    return (0.0 if 0 <= low <= 0.6 * high else low), high


def _bars(measured: Sequence[float], ticks: Ticks) -> list[tuple[float, float, int]]:
    """Count the values in bars of equal width that begin and end at ticks or divide the space between them evenly.

    The rule of square roots says about how many bars (common practice, no source).
    """
    first, last = ticks.domain
    tick = ticks.values[1] - ticks.values[0]
    parts = _parts_of_tick(measured, tick, (last - first) / tick)
    wide, number = tick / parts, round((last - first) / tick) * parts
    counts = [0] * number
    for value in measured:
        # The guard keeps a value that lies on an edge from falling short of it in binary.
        counts[min(number - 1, max(0, math.floor((value - first) / wide + 1e-9)))] += 1
    return [(_edge(first + wide * bar), _edge(first + wide * (bar + 1)), count) for bar, count in enumerate(counts)]


def _parts_of_tick(measured: Sequence[float], tick: float, ticks: float) -> int:
    """Give into how many bars the space between two ticks is divided: no bar narrower than the count above it."""
    wanted = min(_MOST_BARS, max(5.0, 1.5 * math.sqrt(len(measured))))
    room = LEAST_PLOT / ticks / (width_of(f"{len(measured):,}", LABEL_SIZE) + 4)
    whole = all(value.is_integer() for value in measured)
    fits = (parts for parts in (5, 4, 2) if parts <= min(wanted / ticks, room) and not (whole and tick % parts))
    return next(fits, 1)


def _edge(value: float) -> float:
    return float(f"{value:.10g}")


def _centre_layers(centre: Centre | None, across: Spec) -> Iterator[Spec]:
    if centre is None:
        return
    yield layer(
        [{"value": centre.value}],
        {"type": "rule", "color": VERMILLION, "strokeWidth": 2, "strokeDash": [6, 3]},
        x=at(across, "value"),
    )
    if centre.low is not None and centre.high is not None:
        yield layer(
            [{"low": centre.low, "high": centre.high}],
            {"type": "rule", "color": VERMILLION, "strokeWidth": 5},
            x=at(across, "low"), x2={"field": "high"}, y={"value": -4},
        )  # fmt: skip


def _empty(title: str, below: Sequence[str], described: str, of: Quantity) -> Spec:
    """Give the frame of a chart in which nothing was measured: no bar, no number, and words that say so."""
    nothing = Ticks((0.0, 1.0), 0)
    across, up = quantitative(of.title, nothing), quantitative(of.counted.capitalize(), nothing, along=_HEIGHT / 2)
    for channel in (across, up):
        channel["axis"] = {"values": [], "format": ",.0f", "grid": False}
    said = layer(
        [{"x": 0.5, "y": 0.5, "label": "Nothing measured"}],
        words_mark(align="center", baseline="middle"),
        x=at(across, "x"), y=at(up, "y"), text={"field": "label"},
    )  # fmt: skip
    return specification(title, below, described, (plot_width(up), _HEIGHT / 2), [said])
