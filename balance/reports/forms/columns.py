"""How wide the columns of a table become: each as wide as it likes, and where that is too much, an equal share."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

from balance.reports.charts.lettering import width_of

#: The narrower of the two papers between its margins, the room beside the words of a cell, and their size [pt].
_PAPER: Final = 487.0
_BESIDE, _SIZE = 10.0, 9.5
#: A table of more columns is set closer, in smaller letters.
MANY_COLUMNS: Final = 8
_BESIDE_CLOSE, _SIZE_CLOSE = 6.0, 8.5
_USUAL: Final = 0.6
#: No cell is measured further; a column that wants more gets its share in any case.
_MEASURED: Final = 120


def rooms_of(headings: Sequence[str], rows: Sequence[Sequence[str]]) -> list[int]:
    """Give how many usual letters a line of each column holds, by the rule by which typst shares out the width.

    Examples
    --------
    >>> rooms_of(["Row", "What was said"], [["1", "word " * 60]])
    [3, 78]
    """
    wanted = [max(_wanted(row[at]) for row in (headings, *rows)) for at in range(len(headings))]
    beside, size = (_BESIDE_CLOSE, _SIZE_CLOSE) if len(wanted) > MANY_COLUMNS else (_BESIDE, _SIZE)
    left = _PAPER / size - len(wanted) * beside / size
    widths: dict[int, float] = {}
    for rank, at in enumerate(sorted(range(len(wanted)), key=wanted.__getitem__)):
        widths[at] = min(wanted[at], left / (len(wanted) - rank))
        left -= widths[at]
    return [max(1, int(widths[at] / _USUAL)) for at in range(len(wanted))]


def _wanted(said: str) -> float:
    """Give how wide words like to be [em]; the measure is of a wide font, so that bold headings are within it."""
    return width_of(said[:_MEASURED], 1)
