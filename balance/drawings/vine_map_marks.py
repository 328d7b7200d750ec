"""The marks of a vine map: each tells its class by shape, size or filling, and by shade beside it."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final

from balance.drawings.svg import element, line
from balance.formulas.targets.retained_counts import TOO_FEW, TOO_MANY, WITHIN
from balance.vine_maps.classes import (
    FIFTHS,
    LIVING,
    MISSING,
    NO_SHARE,
    NO_TARGET,
    NOT_INSPECTED,
    NOT_JUDGED,
    NOT_WEIGHED,
    TO_COUNT,
)

INK: Final = "#1f2a24"
QUIET: Final = "#54625a"
#: The figure of a step.
STEP: Final = "#9c3d17"
#: Shades of one green, dark enough to be told apart where two lie beside each other; the outline carries the contrast.
_SHADES: Final = ("#f1f5ec", "#c9dcc0", "#96bd92", "#5b9468", "#24583a")
_RADII: Final = (2.8, 3.7, 4.6, 5.5, 6.4)
#: Colours that colour-blind people tell apart.
_WITHIN: Final = "#2c6140"
_TOO_MANY: Final = "#d55e00"
_TOO_FEW: Final = "#0072b2"
_LIVING: Final = "#2c6140"
_HALF: Final = 5.5
_PARTS: Final = dict(zip(LIVING, (1.0, 0.75, 0.5, 0.25, 0.0), strict=True))


def mark(code: str) -> str:
    """Draw the mark of a class around the origin.

    Raises
    ------
    KeyError
        There is no such class.
    """
    if code in _PARTS:
        return _box(_PARTS[code])
    if code.startswith("weight_"):
        return _disc(int(code.removeprefix("weight_")) - 1)
    return _OTHERS[code]


def young() -> str:
    """Draw the frame around the mark of a young vine."""
    return element("rect", x=-8, y=-8, width=16, height=16, fill="none", stroke=INK, stroke_width=1.2)


def _disc(number: int) -> str:
    number = min(number, FIFTHS - 1)
    return element("circle", r=_RADII[number], fill=_SHADES[number], stroke=INK, stroke_width=1)


def _box(living: float) -> str:
    """Draw a box that is filled from below as far as its cordons live."""
    height = 2 * _HALF * living
    parts = [_square("#ffffff", INK)]
    if living:
        parts.append(element("rect", x=-_HALF, y=_HALF - height, width=2 * _HALF, height=height, fill=_LIVING))
    return "".join(parts)


def _square(fill: str, stroke: str) -> str:
    return element("rect", x=-_HALF, y=-_HALF, width=2 * _HALF, height=2 * _HALF, fill=fill, stroke=stroke)


def _path(d: str, **attributes: str | float) -> str:
    return element("path", d=d, **attributes)


_UP: Final = "M0 -6.2L6 5H-6Z"
_DOWN: Final = "M0 6.2L6 -5H-6Z"
_OTHERS: Final = {
    WITHIN: element("circle", r=5, fill=_WITHIN, stroke=INK, stroke_width=1),
    TOO_MANY: _path(_UP, fill=_TOO_MANY, stroke=INK, stroke_width=1),
    TOO_FEW: _path(_DOWN, fill=_TOO_FEW, stroke=INK, stroke_width=1),
    NOT_JUDGED: element("circle", r=3, fill=QUIET),
    TO_COUNT: element("circle", r=4.5, fill="#ffffff", stroke=QUIET, stroke_width=1.4),
    NO_TARGET: line((-3.5, 0), (3.5, 0), stroke=QUIET, stroke_width=1.6),
    NOT_WEIGHED: line((-3.5, 0), (3.5, 0), stroke=QUIET, stroke_width=1.6),
    NO_SHARE: _square("#ffffff", QUIET) + line((-_HALF, _HALF), (_HALF, -_HALF), stroke=QUIET, stroke_width=1.2),
    NOT_INSPECTED: element("circle", r=1.8, fill=QUIET),
    MISSING: _path("M-4.5 -4.5L4.5 4.5M4.5 -4.5L-4.5 4.5", stroke=QUIET, stroke_width=1.4),
}


def defined(codes: list[str]) -> Iterator[str]:
    """Define each mark once; the vines then only name it."""
    for number, code in enumerate(codes):
        yield element("g", mark(code), id=f"m{number}")
    yield element("g", young(), id="young")
