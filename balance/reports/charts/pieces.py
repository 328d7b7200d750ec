"""What every specification is put together from: our subset of Vega-Lite 5, as plain values.

Scales, ticks and ends of bars are always given, never left to a renderer, so that all renderers draw the same picture.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final

from balance.reports.charts.lettering import BOLD, FONT, plain, wrapped
from balance.reports.charts.palette import GRID, INK, QUIET
from balance.reports.charts.scales import Ticks, number_said

SCHEMA: Final = "https://vega.github.io/schema/vega-lite/v5.json"
#: The whole picture [px]; what is left of the axis and right of it, and the sizes of its letters.
OUTER: Final = 560
RIGHT: Final = 24
#: No plot beside labels of numbers is narrower [px]: so much room there is for what stands side by side in it.
LEAST_PLOT: Final = OUTER - RIGHT - 150
TITLE_SIZE: Final = 14
SUBTITLE_SIZE: Final = 11
LABEL_SIZE: Final = 12
#: No axis label is wider; longer ones are cut.
LABEL_LIMIT: Final = 170
#: How many lines a heading and each sentence below it may take.
_TITLE_LINES: Final = 2
_AXIS_LINES: Final = 3
_SUBTITLE_LINES: Final = 4

Spec = dict[str, Any]
Rows = Sequence[Mapping[str, Any]]


@dataclass(frozen=True)
class Quantity:
    """What is shown along an axis of values: its name, its unit, its decimals in words, and what n counts."""

    name: str
    unit: str = ""
    digits: int = 2
    counted: str = "vines"

    @property
    def title(self) -> str:
        return f"{self.name} ({self.unit})" if self.unit else self.name

    def said(self, value: float, unit: str | None = None) -> str:
        """Write a value with its unit, or another."""
        return f"{number_said(value, self.digits)} {self.unit if unit is None else unit}".rstrip()


def quantitative(title: str, ticks: Ticks, *, grid: bool = False, along: float = OUTER) -> Spec:
    """Describe an axis of numbers; the title says the unit, and is broken where it is longer than the axis."""
    lines = wrapped(plain(title, 200), along + 2 * LABEL_SIZE, LABEL_SIZE, _AXIS_LINES)
    return {
        "type": "quantitative",
        "title": lines[0] if len(lines) == 1 else lines,
        "scale": {"domain": ticks.domain, "nice": False, "zero": False},
        "axis": {"values": list(ticks.values), "format": ticks.format, "grid": grid},
    }


def ordinal(title: str | None, names: Sequence[str], shown: Sequence[str] | None = None, inner: float = 0.3) -> Spec:
    """Describe an axis of names in their order; all of them have a place, those ``shown`` have their label."""
    return {
        "type": "ordinal",
        "title": title,
        "scale": {"type": "band", "domain": list(names), "paddingInner": inner, "paddingOuter": inner / 2},
        "axis": {
            "values": list(names if shown is None else shown),
            "labelAngle": 0,
            "labelLimit": LABEL_LIMIT,
            "grid": False,
        },
    }


def at(channel: Spec, field: str) -> Spec:
    """Set a channel to a field of the rows."""
    return {"field": field, **channel}


def layer(rows: Rows, mark: Spec, **encoding: Spec) -> Spec:
    """Give one layer: its rows, its mark, its channels."""
    return {"data": {"values": [dict(row) for row in rows]}, "mark": mark, "encoding": encoding}


def words_mark(**more: Any) -> Spec:
    """Give a mark of words."""
    return {"type": "text", "fontSize": LABEL_SIZE, "color": INK, **more}


def specification(
    title: str, below: Sequence[str], description: str, size: tuple[float, float], layers: Sequence[Spec]
) -> Spec:
    """Put a specification together; the heading is broken into lines here, because no renderer breaks it."""
    room = OUTER - RIGHT
    return {
        "$schema": SCHEMA,
        "description": plain(description),
        "title": {
            "text": wrapped(title, room / BOLD, TITLE_SIZE, _TITLE_LINES),
            "subtitle": [row for said in below for row in wrapped(said, room, SUBTITLE_SIZE, _SUBTITLE_LINES)],
            "anchor": "start",
            "frame": "bounds",
            "offset": 24,
        },
        "background": "#ffffff",
        "width": size[0],
        "height": size[1],
        "layer": list(layers),
        "config": CONFIG,
    }


CONFIG: Final[Spec] = {
    "font": FONT,
    "view": {"stroke": None},
    "axis": {
        "labelFontSize": LABEL_SIZE,
        "titleFontSize": LABEL_SIZE,
        "titleFontWeight": "normal",
        "labelColor": INK,
        "titleColor": INK,
        "domainColor": QUIET,
        "tickColor": QUIET,
        "gridColor": GRID,
    },
    "title": {"fontSize": TITLE_SIZE, "subtitleFontSize": SUBTITLE_SIZE, "color": INK, "subtitleColor": INK},
    "legend": {"labelFontSize": LABEL_SIZE, "labelLimit": 0},
}
