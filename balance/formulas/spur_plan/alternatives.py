"""What the best plan costs that keeps a given cane, so that it can be said what keeping one costs that is cut."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view

from balance.formulas.spur_plan.choices import Choices
from balance.formulas.spur_plan.columns import Ways, together, ways_along
from balance.formulas.spur_plan.points import NEVER, Points


def with_each(choices: Choices, ways: Ways, balance: Points, total: int) -> Points:
    """Give the points of the cheapest plan of a total that keeps each cane.

    Parameters
    ----------
    choices : Choices
    ways : Ways
        From the head outwards, up to the total at least.
    balance : ndarray of int, shape (A, T)
        What so many nodes on each arm cost towards balance.
    total : int
        Counted nodes [nodes].

    Returns
    -------
    ndarray of int
        One element a candidate of the choices, the balance's share of the total not taken off; ``NEVER`` or more where
        no plan of the total keeps it.

    Notes
    -----
    A plan through option *j* is a way from the head to *j* and one from the halfway line to *j*: the second is the
    same search on the arm turned round.
    """
    totals = slice(0, total + 1)
    turned = ways_along(_turned(choices), total)
    least = np.full(len(choices.candidates), NEVER, dtype=np.int64)
    for arm in range(len(choices.arms)):
        others = np.delete(ways.arms[:, totals] + balance[:, totals], arm, axis=0)
        rest = together(others)[-1] if len(others) else np.where(np.arange(total + 1) == 0, 0, NEVER)
        added = np.append(balance[arm, totals] + rest[::-1], np.full(total, NEVER))
        shifted = sliding_window_view(added, total + 1)  # [a, b]: what a + b nodes on this arm cost besides
        for option in np.flatnonzero(choices.cane[arm] >= 0).tolist():
            alone, linked = ways.kept[:, arm, option + 1, totals]
            onward, onward_linked = turned.entered[:, arm, choices.cane.shape[1] - 1 - option]
            either = np.minimum(onward, onward_linked)
            unlinked = np.minimum(onward_linked, onward + choices.unlinked[arm, option])
            cheapest = min(_least(alone, unlinked, shifted), _least(linked, either, shifted))
            cane = choices.cane[arm, option]
            least[cane] = min(int(least[cane]), cheapest)
    return least


def _least(inwards: Points, onward: Points, added: Points) -> int:
    """Give the least of ``inwards[a] + onward[b] + added[a, b]``, over the counts of nodes that have ways."""
    (first,), (second,) = np.nonzero(inwards < NEVER), np.nonzero(onward < NEVER)
    if not (first.size and second.size):
        return NEVER
    a, b = slice(first[0], first[-1] + 1), slice(second[0], second[-1] + 1)
    return int((inwards[a, None] + onward[b] + added[a, b]).min())


def _turned(choices: Choices) -> Choices:
    """Give the same arms seen from the halfway line."""
    return replace(
        choices,
        cane=choices.cane[:, ::-1],
        renews=choices.renews[:, ::-1],
        outside=choices.outside[:, ::-1],
        lengths=choices.lengths[:, ::-1],
        gaps=choices.gaps[:, ::-1, ::-1].transpose(0, 2, 1),
        linked=choices.linked[:, ::-1, ::-1].transpose(0, 2, 1),
        unlinked=choices.unlinked[:, ::-1],
    )
