"""Our own writer of SVG for exactly the subset of Vega-Lite that the builders use; anything else is refused.

Vega itself takes some 50 ms a chart and a JavaScript engine in every worker.  The tests hold this writer to Vega: the
same specification, the same places of every bar and point.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Final

from balance.drawings.svg import element, text, words
from balance.reports.charts.axes import axis_of, drawn_axes, drawn_grid
from balance.reports.charts.lettering import FONT
from balance.reports.charts.marks import drawn_layer
from balance.reports.charts.pieces import RIGHT, SCHEMA, SUBTITLE_SIZE, TITLE_SIZE, Spec
from balance.reports.charts.refusing import NotInSubset, only

__all__ = ["NotInSubset", "svg_of"]
_TOP: Final = 8.0
_LINE: Final = 1.3
#: Between the heading and the plot, where n stands above the points.
_OFFSET: Final = 24.0
_INDENT: Final = 2.0
_SWATCH: Final = 12.0
_MEMBERS: Final = {"$schema", "description", "title", "background", "width", "height", "layer", "config"}


def svg_of(spec: Mapping[str, Any]) -> str:
    """Draw a specification.

    Parameters
    ----------
    spec : mapping
        As ``histogram``, ``over_seasons`` and ``shares`` build it.

    Returns
    -------
    str
        An SVG document that stands alone: no script, no link, no font of its own; the same specification always gives
        the same text.

    Raises
    ------
    NotInSubset
        It says something that this writer does not draw.
    """
    only("The specification", spec, _MEMBERS)
    if spec.get("$schema") != SCHEMA or not spec.get("layer"):
        raise NotInSubset("Only layered specifications of Vega-Lite 5 are drawn.")
    across, up = axis_of(spec, "x"), axis_of(spec, "y")
    heading, top = _heading(spec["title"])
    left, width, height = up.room(), float(spec["width"]), float(spec["height"])
    foot, below = _legend(spec)
    whole = (left + width + RIGHT, top + height + across.room() + below + 2)
    inside = [
        *drawn_grid(across, up),
        *(mark for layer in spec["layer"] for mark in drawn_layer(layer, across, up)),
        *drawn_axes(across, up),
        element("g", foot, transform=f"translate({-left + _INDENT:.1f} {height + across.room():.1f})") if foot else "",
    ]
    return element(
        "svg",
        [
            element("title", words(" ".join(spec["title"]["text"]))),
            element("desc", words(spec["description"])),
            element("rect", width=whole[0], height=whole[1], fill=spec["background"]),
            *heading,
            element("g", inside, transform=f"translate({left:.1f} {top:.1f})"),
        ],
        xmlns="http://www.w3.org/2000/svg",
        viewBox=f"0 0 {whole[0]:.1f} {whole[1]:.1f}",
        width=whole[0],
        height=whole[1],
        role="img",
        font_family=FONT,
        font_size=SUBTITLE_SIZE,
    )


def _heading(title: Spec) -> tuple[list[str], float]:
    only("The title", title, {"text", "subtitle", "anchor", "frame", "offset"})
    drawn, y = [], _TOP
    for row in title["text"]:
        y += TITLE_SIZE * _LINE
        drawn.append(text(row, _INDENT, y - 4, font_size=TITLE_SIZE, font_weight="bold"))
    for row in title["subtitle"]:
        y += SUBTITLE_SIZE * _LINE
        drawn.append(text(row, _INDENT, y - 3, font_size=SUBTITLE_SIZE))
    return drawn, y + _OFFSET


def _legend(spec: Mapping[str, Any]) -> tuple[list[str], float]:
    """Draw the legend of the first layer that colours by a field: a row each, square and words."""
    colour = next((one["encoding"]["color"] for one in spec["layer"] if "color" in one["encoding"]), None)
    if colour is None:
        return [], 0.0
    only("A colour", colour, {"field", "type", "title", "scale", "legend"})
    drawn = []
    step = SUBTITLE_SIZE * 1.5
    for number, (name, fill) in enumerate(zip(colour["scale"]["domain"], colour["scale"]["range"], strict=True)):
        y = number * step + 4
        drawn.append(element("rect", x=0, y=y, width=_SWATCH, height=_SWATCH, fill=fill, stroke="#1a1a1a"))
        drawn.append(text(name, _SWATCH + 8, y + 10.5))
    return drawn, len(drawn) / 2 * step + 4
