"""What a figure did over the seasons: points with the bars of their intervals, and gaps where nothing is known."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any, Final, TypeVar

from balance.reports.charts.axes import plot_width
from balance.reports.charts.bands import Assigned, assigned_said, level_layers
from balance.reports.charts.lettering import width_of
from balance.reports.charts.palette import BLUE, QUIET
from balance.reports.charts.pieces import (
    LABEL_SIZE,
    LEAST_PLOT,
    Quantity,
    Spec,
    at,
    layer,
    ordinal,
    quantitative,
    specification,
    words_mark,
)
from balance.reports.charts.scales import ticks_of
from balance.reports.document import Chart

_HEIGHT: Final = 160
#: More seasons than this cannot be told apart; the newest are shown.
_MOST: Final = 24
_GAP: Final = "no data"
_Row = TypeVar("_Row")


@dataclass(frozen=True)
class SeasonPoint:
    """One season: its value with n and the ends of its interval, or the reason why there is none."""

    season: int
    value: float | None
    n: int | None = None
    low: float | None = None
    high: float | None = None
    reason: str = ""


def over_seasons(
    code: str,
    title: str,
    points: Sequence[SeasonPoint],
    *,
    of: Quantity,
    interval: str = "95 % interval of the mean",
    assigned: Assigned | None = None,
) -> Chart:
    """Build a chart of one figure over seasons.

    A season between the first and the last that is not among the points is a gap like one without a value: it has its
    place on the axis, a mark that says so, and no line leads through it.
    """
    seasons = _filled(points)
    shown = seasons[-_MOST:]
    below = list(_below(shown, of, interval))
    if len(seasons) > len(shown):
        below.append(f"The newest {_MOST} of {len(seasons)} seasons are shown.")
    if assigned is not None:
        below.append(assigned_said(assigned, of.unit))
    described = " ".join([f"Points over seasons. {of.title}.", *below, *(_told(point, of) for point in shown)])
    names = [str(point.season) for point in shown] or [""]
    across = ordinal("Season (harvest year)", names, _labelled(names, names))
    up = quantitative(of.title, ticks_of(*_ends(shown, assigned), 5), grid=True, along=_HEIGHT)
    if all(point.value is None for point in shown):
        # Numbers along the axis would be read as if something had been measured.
        up["axis"] |= {"values": [], "grid": False}
    layers = [*level_layers(assigned, up, "y"), *_layers(shown, across, up)]
    return Chart(code, title, described, specification(title, below, described, (plot_width(up), _HEIGHT), layers))


def _filled(points: Sequence[SeasonPoint]) -> list[SeasonPoint]:
    told = {point.season: _cleaned(point) for point in points}
    if not told:
        return []
    # Nobody looks further back than a chart shows, and nobody waits for a typing error of a thousand years.
    first = max(min(told), max(told) - 4 * _MOST)
    return [told.get(season, SeasonPoint(season, None, reason=_GAP)) for season in range(first, max(told) + 1)]


def _cleaned(point: SeasonPoint) -> SeasonPoint:
    if point.value is not None and not math.isfinite(point.value):
        return SeasonPoint(point.season, None, point.n, reason=point.reason or _GAP)
    return point


def _below(shown: Sequence[SeasonPoint], of: Quantity, interval: str) -> Iterator[str]:
    if all(point.value is None for point in shown):
        yield "No season has a value: not measured is not zero."
        return
    bars = f"; bars: {interval}" if any(_has_ends(point) for point in shown) else ""
    counts = f"; numbers at the top: n ({of.counted})" if any(point.n is not None for point in shown) else ""
    yield f"Points: value of the season{bars}{counts}."
    if any(point.value is None for point in shown):
        yield "× marks a season without a value: not measured is not zero."


def _has_ends(point: SeasonPoint) -> bool:
    ends = point.low, point.high
    return point.value is not None and all(end is not None and math.isfinite(end) for end in ends)


def _told(point: SeasonPoint, of: Quantity) -> str:
    if point.value is None:
        return f"{point.season}: {point.reason or _GAP}."
    said = f"{point.season}: {of.said(point.value)}"
    if point.low is not None and point.high is not None and _has_ends(point):
        said += f" ({of.said(point.low, '')} to {of.said(point.high, '')})"
    return said + (f", n = {point.n}." if point.n is not None else ".")


def _ends(shown: Sequence[SeasonPoint], assigned: Assigned | None) -> tuple[float, float]:
    known = [end for point in shown for end in (point.value, point.low, point.high) if end is not None]
    known += [end for end in (assigned.low, assigned.high) if end is not None] if assigned else []
    known = [end for end in known if math.isfinite(end)] or [1.0]
    return min(0.0, *known), max(known) if max(known) > 0 else 0.0


def _labelled(rows: Sequence[_Row], labels: Sequence[str]) -> list[_Row]:
    """Give the rows that get their label: each, or every second, third … from the newest where they would touch."""
    widest = max((width_of(label, LABEL_SIZE) for label in labels), default=0.0) + 8
    every = max(1, math.ceil(widest * len(rows) / LEAST_PLOT))
    return [row for number, row in enumerate(reversed(rows)) if number % every == 0][::-1]


def _layers(shown: Sequence[SeasonPoint], across: Spec, up: Spec) -> Iterator[Spec]:
    rows = list(_rows(shown))
    known = [row for row in rows if "value" in row]
    gaps = [row for row in rows if "value" not in row]
    x = at(across, "season")
    colour = {"color": BLUE}
    yield layer(
        gaps, {"type": "rule", "color": QUIET, "strokeWidth": 1, "strokeDash": [2, 4]}, x=x, y={"value": 0},
        y2={"value": _HEIGHT},
    )  # fmt: skip
    yield layer(gaps, words_mark(align="center", baseline="middle", fontSize=16), x=x, y={"value": _HEIGHT / 2},
                text={"field": "label"})  # fmt: skip
    yield layer(known, {"type": "line", "strokeWidth": 1, **colour}, x=x, y=at(up, "value"), detail={"field": "run"})
    ended = [row for row in known if "low" in row]
    yield layer(ended, {"type": "rule", "strokeWidth": 2.5, **colour}, x=x, y=at(up, "low"), y2={"field": "high"})
    point = {"type": "point", "shape": "circle", "filled": True, "size": 64, "opacity": 1, **colour}
    yield layer(known, point, x=x, y=at(up, "value"))
    counted = [row for row in _labelled(rows, [row.get("count", "") for row in rows]) if "count" in row]
    yield layer(counted, words_mark(align="center", baseline="bottom"), x=x, y={"value": -4}, text={"field": "count"})


def _rows(shown: Sequence[SeasonPoint]) -> Iterator[dict[str, Any]]:
    run = 0
    for point in shown:
        row: dict[str, Any] = {"season": str(point.season)}
        if point.value is None:
            run += 1
            yield row | {"label": "×"}
            continue
        row |= {"value": point.value, "run": run}
        if _has_ends(point):
            row |= {"low": point.low, "high": point.high}
        if point.n is not None:
            row["count"] = f"{point.n:,}"
        yield row
