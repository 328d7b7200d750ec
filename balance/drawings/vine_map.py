"""A block drawn as a map: a mark for every vine, by row and place, with a legend and the same in words."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import groupby
from typing import Final

import numpy as np
from numpy.typing import NDArray

from balance.drawings.svg import drawing, element, text, words
from balance.drawings.vine_map_marks import INK, QUIET, STEP, defined
from balance.drawings.vine_map_words import HEADINGS, STEP_NUMBERS, described, season_of, sentence_of, told
from balance.vine_maps.classes import Classified
from balance.vine_maps.reading import CORDON, VineMap

#: How the rows of the block lie in the drawing: each a line across, or each a column down, which suits a phone.
ACROSS: Final = "across"
DOWN: Final = "down"
ROWS_RUN: Final = (ACROSS, DOWN)
#: Beyond so many vines a mark has no words of its own: they would make most of the file.
MOST_TITLES: Final = 5_000
_MARGIN: Final = 16.0
_LABELS: Final = 40.0
_ENTRY: Final = 225.0
_LINE: Final = 20.0
_NARROWEST: Final = 300.0


@dataclass(frozen=True)
class Grid:
    """Where the vines of a map stand in the drawing [px]; rows and places that no vine has take no room."""

    cell: float
    down: bool
    rows: NDArray[np.intp]
    places: NDArray[np.intp]
    row_numbers: Sequence[int]
    place_numbers: Sequence[int]

    @property
    def width(self) -> float:
        return self.cell * len(self.row_numbers if self.down else self.place_numbers)

    @property
    def height(self) -> float:
        return self.cell * len(self.place_numbers if self.down else self.row_numbers)

    def at(self, row: float, place: float, left: float, top: float) -> tuple[float, float]:
        across, down = (row, place) if self.down else (place, row)
        return left + self.cell * (across + 0.5), top + self.cell * (down + 0.5)


def grid_of(mapped: VineMap, *, down: bool, cell: float) -> Grid:
    """Lay the vines out by row and place."""
    row_numbers, rows = np.unique(mapped.vines.row_numbers, return_inverse=True)
    place_numbers, places = np.unique(mapped.vines.places, return_inverse=True)
    return Grid(cell, down, rows, places, row_numbers.tolist(), place_numbers.tolist())


def vine_map_svg(groups: Classified, block_name: str, rows_run: str) -> str:
    """Draw a map.

    Returns
    -------
    str
        An SVG document that stands alone.
    """
    grid = grid_of(groups.told, down=rows_run == DOWN, cell=22.0 if groups.show == CORDON else 19.0)
    width = max(_NARROWEST, _LABELS + grid.width + 2 * _MARGIN)
    heading, season = f"{HEADINGS[groups.show]}: {block_name}", season_of(groups)
    places = f"{len(groups.told):,} place{'' if len(groups.told) == 1 else 's'}"
    legend, top = _legend(groups, width)
    left, top = _MARGIN + _LABELS, top + _LINE
    height = top + grid.height + _MARGIN
    drawn = [
        element("title", words(f"{heading}, {season}"), id="vine-map-title"),
        element("desc", words(described(groups)), id="vine-map-desc"),
        element("defs", defined([each.code for each in groups.classes])),
        element("rect", width=width, height=height, fill="#ffffff"),
        text(_cut(heading, width), _MARGIN, 24, font_size=15, font_weight="bold"),
        text(f"{season}, {places}; rows run {'down' if grid.down else 'across'}", _MARGIN, 42, fill=QUIET),
        *legend,
        *_numbers(grid, left, top),
        *_vines(groups, grid, left, top),
    ]
    return drawing(
        drawn,
        width,
        height,
        "vine-map-title vine-map-desc",
        font_family="system-ui, sans-serif",
        font_size=12,
        fill=INK,
    )


def _cut(said: str, width: float) -> str:
    """Cut a heading where the drawing ends; the title says it whole."""
    most = max(8, int((width - 2 * _MARGIN) / 9))
    return said if len(said) <= most else f"{said[: most - 1]}…"


def _legend(groups: Classified, width: float) -> tuple[list[str], float]:
    """Draw what the marks mean, in as many columns as there is room for; gives where it ends."""
    entries = [
        (f"#m{number}", f"{each.label} ({each.vines:,})") for number, each in enumerate(groups.classes) if each.vines
    ]
    if groups.young:
        entries.append(("#young", f"young vine ({groups.young:,})"))
    entries += [
        (str(STEP_NUMBERS[step]), f"replacement: {told(step)} ({count:,})") for step, count in groups.steps.items()
    ]
    columns = max(1, min(len(entries), int((width - 2 * _MARGIN) // _ENTRY)))
    lines = -(-len(entries) // columns)
    drawn = []
    for number, (sign, label) in enumerate(entries):
        x, y = _MARGIN + 9 + _ENTRY * (number // lines), 62 + _LINE * (number % lines)
        drawn.append(_sign(sign, x, y) + text(label, x + 14, y + 4))
    return drawn, 62 + _LINE * lines


def _sign(sign: str, x: float, y: float) -> str:
    if sign.startswith("#"):
        return element("use", href=sign, x=x, y=y)
    return text(sign, x, y + 4, text_anchor="middle", font_weight="bold", fill=STEP)


def _numbers(grid: Grid, left: float, top: float) -> Iterator[str]:
    """Write the numbers of rows, and of every fifth place."""
    for at, number in enumerate(grid.row_numbers):
        x, y = grid.at(at, -1, left, top)
        if grid.down:
            yield text(str(number), x, y + 4, text_anchor="middle", font_size=10)
        else:
            yield text(f"row {number}", x + 4, y + 4, text_anchor="end", font_size=10)
    for at, number in enumerate(grid.place_numbers):
        if at and number % 5:
            continue
        x, y = grid.at(-1, at, left, top)
        if grid.down:
            yield text(f"vine {number}", x + 4, y + 4, text_anchor="end", font_size=10)
        else:
            yield text(str(number), x, y + 4, text_anchor="middle", font_size=10)


def _vines(groups: Classified, grid: Grid, left: float, top: float) -> Iterator[str]:
    """Draw the vines, a group a row; each in its own with its words where there are not too many."""
    worded = len(groups.told) <= MOST_TITLES
    for _, own in groupby(range(len(groups.told)), key=groups.told.vines.row_numbers.tolist().__getitem__):
        drawn = []
        for at in own:
            mark = "".join(_vine(groups, at, *grid.at(int(grid.rows[at]), int(grid.places[at]), left, top)))
            said = words(sentence_of(groups, at)) if worded else ""
            drawn.append(element("g", element("title", said) + mark) if worded else mark)
        yield element("g", drawn)


def _vine(groups: Classified, at: int, x: float, y: float) -> Iterator[str]:
    plant, step = groups.told.plants[at], str(groups.told.steps[at])
    yield element("use", href=f"#m{groups.of[at]}", x=x, y=y)
    if plant == "young":
        yield element("use", href="#young", x=x, y=y)
    if step and plant != "missing" and groups.show == CORDON:
        number = str(STEP_NUMBERS[step])
        # Nearer to its own mark, or its frame, than to the next vine's.
        aside = 9 if plant == "young" else 6.5
        yield text(number, x + aside, y - 1, font_size=9, font_weight="bold", fill=STEP)
