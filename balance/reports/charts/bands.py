"""The range that somebody assigned, as a band between two lines with its source in words."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any, Literal

from balance.reports.charts.lettering import cut, plain
from balance.reports.charts.palette import BLUISH_GREEN
from balance.reports.charts.pieces import Spec, at, layer
from balance.reports.charts.scales import number_said


@dataclass(frozen=True)
class Assigned:
    """A range that somebody assigned; an end that is None is open."""

    low: float | None
    high: float | None
    source: str
    digits: int = 2


def assigned_said(assigned: Assigned, unit: str) -> str:
    """Say the range in words, with its source."""
    low, high = (None if end is None else number_said(end, assigned.digits) for end in (assigned.low, assigned.high))
    if low is not None and high is not None:
        ends = f"{low} to {high}"
    else:
        ends = f"{low} or more" if low is not None else f"{high} or less"
    said = f"Green band between dotted lines: assigned range {ends} {unit}".rstrip()
    # A source as long as a page would push everything else out of the heading.
    return f"{said} ({cut(plain(assigned.source), 600, 12)})." if assigned.source else f"{said}."


def level_layers(assigned: Assigned | None, channel: Spec, way: Literal["x", "y"]) -> Iterator[Spec]:
    """Draw the band across the whole plot, along one of its axes; an open end goes to the end of the axis."""
    if assigned is None or (assigned.low is None and assigned.high is None):
        return
    ends = channel["scale"]["domain"]
    low = ends[0] if assigned.low is None else max(assigned.low, ends[0])
    high = ends[1] if assigned.high is None else min(assigned.high, ends[1])
    row = {"low": low, "high": high}
    mark: dict[str, Any] = {"type": "rect", "color": BLUISH_GREEN, "opacity": 0.16}
    yield layer([row], mark, **{way: at(channel, "low"), f"{way}2": {"field": "high"}})
    edges = [{"end": end} for end in (assigned.low, assigned.high) if end is not None and ends[0] <= end <= ends[1]]
    line = {"type": "rule", "color": BLUISH_GREEN, "strokeWidth": 1.2, "strokeDash": [1, 3]}
    yield layer(edges, line, **{way: at(channel, "end")})
