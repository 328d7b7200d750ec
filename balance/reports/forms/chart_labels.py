"""The words of a chart apart from its drawing, so that a PDF sets them as text of its own.

A word inside an image of SVG is shaped anew each time, which takes longer than setting its page.  A word of the page is
set faster, and only once where other reports have it too, as seasons and the numbers of ticks.
"""

from __future__ import annotations

import html
import re
from dataclasses import dataclass
from typing import Any, Final

from balance.reports.charts.palette import INK
from balance.reports.charts.pieces import SUBTITLE_SIZE
from balance.reports.forms.letters import shown

#: In what the drawing of charts writes: a group that is moved, the end of a group, or words that are not turned.
_PIECE: Final = re.compile(
    r'<g transform="translate\((?P<right>[-\d.]+) (?P<down>[-\d.]+)\)">|(?P<end></g>)|'
    r'<text x="(?P<x>[-\d.]+)" y="(?P<y>[-\d.]+)"(?P<how>[^<>]*)>(?P<said>[^<>]*)(?:<title>[^<>]*</title>)?</text>'
)
_HOW: Final = re.compile(r' ([a-z-]+)="([^"]*)"')
_SIZE: Final = re.compile(r'viewBox="0 0 ([\d.]+) ([\d.]+)"')
_ANCHORS: Final = ("start", "middle", "end")
_KNOWN: Final = {"text-anchor", "font-size", "font-weight", "fill"}


@dataclass
class _Taking:
    """Takes the words out of one drawing; knows where the group begins that it is in [px]."""

    labels: list[list[Any]]
    places: list[tuple[float, float]]

    def take(self, piece: re.Match[str]) -> str:
        left, top = self.places[-1]
        if piece["right"] is not None:
            self.places.append((left + float(piece["right"]), top + float(piece["down"])))
        elif piece["end"] is not None:
            self.places.pop()
        else:
            label = _label(
                left + float(piece["x"]), top + float(piece["y"]), piece["how"], html.unescape(piece["said"])
            )
            if label:
                self.labels.append(label)
                return ""
        return piece[0]


def parted(svg: str) -> dict[str, Any]:
    """Give a chart as its drawing, its size [px], and the words that stand on it.

    Parameters
    ----------
    svg : str
        As ``svg_of`` draws it.

    Returns
    -------
    dict
        ``svg``, ``size`` and ``labels``: each the place of its baseline from the left and the top [px], the size of its
        letters [px], 0, 1 or 2 where it begins, has its middle or ends there, whether it is bold, and what it says.
        Words that are turned, or of which a letter is shown as its code, stay in the drawing.
    """
    taking = _Taking([], [(0.0, 0.0)])
    bare = _PIECE.sub(taking.take, svg)
    size = _SIZE.search(svg)
    return {"svg": bare, "size": [float(side) for side in size.groups()] if size else [], "labels": taking.labels}


def _label(x: float, y: float, how: str, said: str) -> list[Any] | None:
    told = dict(_HOW.findall(how))
    if not told.keys() <= _KNOWN or told.get("fill", INK) != INK or shown(said, word=2 * len(said)) != said:
        return None
    anchor = _ANCHORS.index(told.get("text-anchor", "start"))
    size = float(told.get("font-size", SUBTITLE_SIZE))
    return [round(x, 1), round(y, 1), size, anchor, told.get("font-weight") == "bold", said]
