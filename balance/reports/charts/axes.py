"""The two axes of a chart: where a value lies, and how ticks and labels are drawn."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any, Final, Literal

from balance.drawings.svg import element, line, text, words
from balance.reports.charts.lettering import cut, width_of
from balance.reports.charts.palette import GRID, INK, QUIET
from balance.reports.charts.pieces import LABEL_LIMIT, LABEL_SIZE, OUTER, RIGHT, Spec
from balance.reports.charts.refusing import NotInSubset, only
from balance.reports.charts.scales import number_said

_TICK: Final = 5.0
_MEMBERS: Final = {"type", "title", "scale", "axis"}


@dataclass(frozen=True)
class Axis:
    """One axis: its way, what it says, and from where to where it goes [px]."""

    way: Literal["x", "y"]
    said: Spec
    length: float

    @property
    def names(self) -> list[str] | None:
        """The names in their order, where it is not an axis of numbers."""
        return list(self.said["scale"]["domain"]) if self.said["type"] == "ordinal" else None

    @property
    def step(self) -> float:
        """How far apart the middles of two names lie [px]: Vega's rule for scales of bands."""
        scale = self.said["scale"]
        steps = float(len(scale["domain"]) - scale["paddingInner"] + 2 * scale["paddingOuter"])
        return self.length / max(1.0, steps)

    @property
    def bandwidth(self) -> float:
        return self.step * (1 - float(self.said["scale"]["paddingInner"]))

    def band(self, name: str) -> float:
        """Give where the band of a name begins [px]."""
        scale = self.said["scale"]
        return self.step * float(scale["paddingOuter"] + scale["domain"].index(name))

    def place(self, value: Any) -> float:
        """Give where a value lies, or the middle of a name's band [px from the plot's left or top]."""
        if self.names is not None:
            return self.band(value) + self.bandwidth / 2
        low, high = self.said["scale"]["domain"]
        part = (value - low) / (high - low)
        return self.length * float(part if self.way == "x" else 1 - part)

    def labels(self) -> Iterator[tuple[float, str]]:
        """Give where each label stands, and what it says in full."""
        form = self.said["axis"].get("format")
        for value in self.said["axis"]["values"]:
            said = value if form is None else number_said(value, int(form.removeprefix(",.").removesuffix("f")))
            yield self.place(value), said

    @property
    def title(self) -> list[str]:
        """The lines of its title."""
        said = self.said["title"] or []
        return [said] if isinstance(said, str) else list(said)

    def room(self) -> float:
        """Give how much room the axis takes beside the plot [px]."""
        title = LABEL_SIZE * 1.3 * len(self.title) + (2 if self.title else 0)
        if self.way == "x":
            return _TICK + LABEL_SIZE * 1.4 + title + 2
        widest = max((width_of(cut(said, LABEL_LIMIT, LABEL_SIZE), LABEL_SIZE) for _, said in self.labels()), default=0)
        return widest + _TICK + 6 + title


def plot_width(up: Spec) -> float:
    """Give how wide a plot is beside its upright axis, so that every chart is as wide as the others [px]."""
    return round(OUTER - RIGHT - Axis("y", up, 0.0).room(), 1)


def axis_of(spec: Mapping[str, Any], way: Literal["x", "y"]) -> Axis:
    """Give an axis that all layers agree on."""
    told = [one["encoding"][way] for one in spec["layer"] if way in one["encoding"]]
    said = [
        {name: value for name, value in channel.items() if name not in {"field", "datum"}}
        for channel in told
        if set(channel) != {"value"}
    ]
    if not said or any(one != said[0] for one in said):
        raise NotInSubset(f"The layers have no {way} axis in common.")
    only(f"The {way} axis", said[0], _MEMBERS)
    numbers = {"domain", "nice", "zero"}, {"values", "format", "grid"}
    names = {"type", "domain", "paddingInner", "paddingOuter"}, {"values", "labelAngle", "labelLimit", "grid"}
    known = {"quantitative": numbers, "ordinal": names}.get(said[0]["type"])
    if known is None:
        raise NotInSubset(f"An axis of type {said[0]['type']!r} is not drawn here.")
    only(f"The scale of {way}", said[0]["scale"], known[0])
    only(f"The axis of {way}", said[0]["axis"], known[1])
    return Axis(way, said[0], float(spec["width" if way == "x" else "height"]))


def drawn_grid(across: Axis, up: Axis) -> Iterator[str]:
    """Draw the grid of both axes, which lies below the marks."""
    for axis in (up, across):
        for place, _ in axis.labels() if axis.said["axis"]["grid"] else ():
            if axis.way == "x":
                yield line((place, 0.0), (place, up.length), stroke=GRID)
            else:
                yield line((0.0, place), (across.length, place), stroke=GRID)


def drawn_axes(across: Axis, up: Axis) -> Iterator[str]:
    """Draw the lines, ticks, labels and titles of both axes, which lie above the marks."""
    yield from _drawn_y(up, up.length)
    yield from _drawn_x(across, up.room(), across.length, up.length)


def _drawn_x(axis: Axis, left: float, width: float, height: float) -> Iterator[str]:
    yield line((0, height), (width, height), stroke=QUIET)
    for place, said in axis.labels():
        yield line((place, height), (place, height + _TICK), stroke=QUIET)
        half = width_of(cut(said, LABEL_LIMIT, LABEL_SIZE), LABEL_SIZE) / 2
        inside = min(max(place, half - left + 1), width + RIGHT - half - 1)
        yield _label(said, inside, height + _TICK + LABEL_SIZE, "middle")
    for number, row in enumerate(axis.title):
        y = height + _TICK + LABEL_SIZE * (2.6 + 1.3 * number)
        said = cut(row, width, LABEL_SIZE)
        yield text(said, width / 2, y, text_anchor="middle", font_size=LABEL_SIZE, fill=INK)


def _drawn_y(axis: Axis, height: float) -> Iterator[str]:
    yield line((0, 0), (0, height), stroke=QUIET)
    for place, said in axis.labels():
        yield line((-_TICK, place), (0, place), stroke=QUIET)
        yield _label(said, -_TICK - 4, place + LABEL_SIZE * 0.35, "end")
    for number, row in enumerate(axis.title):
        said = cut(row, height + 24, LABEL_SIZE)
        x = LABEL_SIZE * (1 + 1.3 * number) - axis.room()
        yield element(
            "text",
            words(said),
            transform=f"translate({x:.1f} {height / 2:.1f}) rotate(-90)",
            text_anchor="middle",
            font_size=LABEL_SIZE,
            fill=INK,
        )


def _label(said: str, x: float, y: float, anchor: str) -> str:
    short = cut(said, LABEL_LIMIT, LABEL_SIZE)
    whole = element("title", words(said)) if short != said else ""
    return element("text", [words(short), whole], x=x, y=y, text_anchor=anchor, font_size=LABEL_SIZE, fill=INK)
