"""The marks of a layer as SVG: bars, rectangles, rules, lines, points and words."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from typing import Any, Final

from balance.drawings.svg import element, line, text
from balance.reports.charts.axes import Axis
from balance.reports.charts.pieces import Spec
from balance.reports.charts.refusing import NotInSubset, only

_STYLE: Final = {"type", "color", "stroke", "strokeWidth", "strokeDash", "opacity"}
_MARKS: Final = {
    "bar": _STYLE,
    "rect": _STYLE,
    "rule": _STYLE,
    "line": _STYLE,
    "point": _STYLE | {"shape", "filled", "size"},
    "text": _STYLE | {"align", "baseline", "dx", "dy", "fontSize"},
}
_CHANNELS: Final = {"x", "x2", "y", "y2", "text", "color", "detail"}
_ANCHORS: Final = {"left": "start", "center": "middle", "right": "end"}


@dataclass(frozen=True)
class _Layer:
    """One layer, and the axes that it is drawn on."""

    mark: Spec
    encoding: Spec
    rows: list[Mapping[str, Any]]
    across: Axis
    up: Axis

    def value(self, channel: str, row: Mapping[str, Any]) -> Any:
        told = self.encoding[channel]
        return told["datum"] if "datum" in told else row[told["field"]]

    def place(self, channel: str, row: Mapping[str, Any]) -> float:
        """Give where a row lies along one axis [px]."""
        if "value" in self.encoding[channel]:
            return float(self.encoding[channel]["value"])
        axis = self.across if channel[0] == "x" else self.up
        return axis.place(self.value(channel, row))

    def span(self, way: str, row: Mapping[str, Any]) -> tuple[float, float]:
        """Give from where to where a row goes along one axis [px]: its ends, its band, or all of the plot."""
        axis = self.across if way == "x" else self.up
        if way not in self.encoding:
            return 0.0, axis.length
        if f"{way}2" in self.encoding:
            ends = self.place(way, row), self.place(f"{way}2", row)
            return min(ends), max(ends)
        if axis.names is None or self.mark["type"] not in {"bar", "rect"}:
            place = self.place(way, row)
            return place, place
        begins = axis.band(self.value(way, row))
        return begins, begins + axis.bandwidth

    def colour(self, row: Mapping[str, Any]) -> str:
        if "color" not in self.encoding:
            return str(self.mark.get("color", "#000000"))
        scale = self.encoding["color"]["scale"]
        return str(scale["range"][scale["domain"].index(row[self.encoding["color"]["field"]])])

    def stroke(self, colour: str) -> dict[str, str | float]:
        said: dict[str, str | float] = {"stroke": self.mark.get("stroke", colour)}
        said["stroke_width"] = self.mark.get("strokeWidth", 1)
        if "strokeDash" in self.mark:
            said["stroke_dasharray"] = " ".join(f"{dash:g}" for dash in self.mark["strokeDash"])
        return said


def drawn_layer(told: Mapping[str, Any], across: Axis, up: Axis) -> Iterator[str]:
    """Draw the marks of one layer, in the order of its rows."""
    only("A layer", told, {"data", "mark", "encoding"})
    kind = told["mark"].get("type")
    if kind not in _MARKS:
        raise NotInSubset(f"A mark of type {kind!r} is not drawn here.")
    only(f"A mark of type {kind!r}", told["mark"], _MARKS[kind])
    only("An encoding", told["encoding"], _CHANNELS)
    layer = _Layer(told["mark"], told["encoding"], told["data"]["values"], across, up)
    return _DRAWN[kind](layer)


def _boxes(layer: _Layer) -> Iterator[str]:
    for row in layer.rows:
        (left, right), (top, bottom) = layer.span("x", row), layer.span("y", row)
        outline = layer.stroke("none") if "stroke" in layer.mark else {}
        opacity = {"fill_opacity": f"{layer.mark['opacity']:g}"} if "opacity" in layer.mark else {}
        yield element(
            "rect", x=left, y=top, width=right - left, height=bottom - top, fill=layer.colour(row), **opacity, **outline
        )


def _rules(layer: _Layer) -> Iterator[str]:
    for row in layer.rows:
        (left, right), (top, bottom) = layer.span("x", row), layer.span("y", row)
        yield line((left, top), (right, bottom), **layer.stroke(layer.colour(row)))


def _lines(layer: _Layer) -> Iterator[str]:
    runs: dict[Any, list[str]] = {}
    for row in layer.rows:
        run = row[layer.encoding["detail"]["field"]] if "detail" in layer.encoding else None
        runs.setdefault(run, []).append(f"{layer.place('x', row):.1f},{layer.place('y', row):.1f}")
    for points in runs.values():
        if len(points) > 1:
            yield element("polyline", points=" ".join(points), fill="none", **layer.stroke(layer.colour({})))


def _points(layer: _Layer) -> Iterator[str]:
    if layer.mark.get("shape", "circle") != "circle":
        raise NotInSubset("Only round points are drawn here.")
    # Vega's size is the area of the symbol's square times pi over four.
    radius = math.sqrt(layer.mark.get("size", 30)) / 2
    for row in layer.rows:
        yield element(
            "circle", cx=layer.place("x", row), cy=layer.place("y", row), r=radius, fill=layer.colour(row)
        )  # fmt: skip


def _words(layer: _Layer) -> Iterator[str]:
    size = layer.mark.get("fontSize", 11)
    down = {"bottom": -0.2, "middle": 0.35, "top": 0.9}[layer.mark.get("baseline", "middle")] * size
    for row in layer.rows:
        yield text(
            str(layer.value("text", row)),
            layer.place("x", row) + layer.mark.get("dx", 0),
            layer.place("y", row) + layer.mark.get("dy", 0) + down,
            text_anchor=_ANCHORS[layer.mark.get("align", "center")],
            font_size=size,
            fill=layer.colour(row),
        )


_DRAWN: Final[dict[str, Callable[[_Layer], Iterator[str]]]] = {
    "bar": _boxes,
    "rect": _boxes,
    "rule": _rules,
    "line": _lines,
    "point": _points,
    "text": _words,
}
