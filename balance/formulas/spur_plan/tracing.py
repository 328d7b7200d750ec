"""Back from a cheapest total to the options that were kept for it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from balance.formulas.spur_plan.choices import Choices
from balance.formulas.spur_plan.columns import Ways
from balance.formulas.spur_plan.points import NEVER, Points


def shares_of(total: int, joined: Points, columns: Points) -> list[int]:
    """Give the counted nodes on each arm in the cheapest plan of a total; of equals, the fewest on the last arm.

    Parameters
    ----------
    total : int
        [nodes]
    joined, columns : ndarray of int, shape (A, T)
        The arms joined one after the other (see ``together``), and each by itself, balance included.

    Returns
    -------
    list of int
    """
    shares: list[int] = []
    for row in range(len(columns) - 1, 0, -1):
        last = int((joined[row - 1, total::-1] + columns[row, : total + 1]).argmin())
        shares.append(last)
        total -= last
    return [total, *reversed(shares)]


@dataclass(frozen=True)
class _State:
    """A way to a kept option: its row (0: the head), whether it was reached by a link, and the counted nodes so far.

    ``points`` is what the way costs.
    """

    row: int
    linked: int
    nodes: int
    points: int


def trace(choices: Choices, ways: Ways, arm: int, nodes: int) -> list[tuple[int, int]]:
    """Give the options kept along an arm in its cheapest way with so many counted nodes, and the nodes on each.

    Every step looks for the option before and the length that add up to the points found; of equals it takes the one
    nearest to the head.

    Parameters
    ----------
    choices : Choices
    ways : Ways
    arm, nodes : int
        Counted nodes on the arm; the arm's column has a way for them.

    Returns
    -------
    list of (int, int)
        Option along the arm and nodes on it, from the head outwards.
    """
    kept: list[tuple[int, int]] = []
    ended = choices.cane.shape[1] + 1
    here = _State(ended, 0, nodes, int(ways.arms[arm, nodes]))
    while here.row:
        before = _before(choices, ways, arm, here)
        if here.row < ended:
            option = here.row - 1
            kept.append((option, here.nodes - before.nodes + int(choices.outside[arm, option])))
        here = before
    return kept[::-1]


def _before(choices: Choices, ways: Ways, arm: int, here: _State) -> _State:
    rows, column = here.row, here.row - 1
    lengths = choices.lengths[arm, column] if column < choices.cane.shape[1] else np.zeros(1, dtype=np.int64)
    counts = min(lengths.size, here.nodes + 1)
    reached = slice(here.nodes + 1 - counts, here.nodes + 1)
    wanted = here.points - choices.gaps[arm, :rows, column, None] - lengths[counts - 1 :: -1]
    wanted[choices.linked[arm, :rows, column] != here.linked] = -NEVER  # no way has so few points
    for linked in (1, 0):
        if not (linked or here.linked):  # it asked, and neither side is linked with it
            wanted[1:] -= choices.unlinked[arm, : rows - 1, None]
        hits = ways.kept[linked, arm, :rows, reached] == wanted
        first = int(hits.argmax())
        if hits.flat[first]:
            row, short = divmod(first, counts)
            nodes = reached.start + short
            return _State(row, linked, nodes, int(ways.kept[linked, arm, row, nodes]))
    raise AssertionError("a column holds points that no way adds up to")
