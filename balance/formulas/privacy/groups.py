"""Contributions sorted into groups that lie in the same cells, and the cells as rows over the groups."""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from balance.formulas.privacy.hierarchy import TOTAL, Cell, Contribution, Hierarchy, gather
from balance.formulas.privacy.row_space import Numbers, basis, can_be_had
from balance.formulas.privacy.rules import contributors


@dataclass(frozen=True, eq=False)
class Groups:
    """Contributions by the cells that they lie in; whatever is told by cells is alike for all of one group.

    Attributes
    ----------
    order : tuple of Cell
        Every cell of the hierarchy.
    parts : dict of Cell to tuple of Contribution
        What each cell adds up.
    farms : tuple of frozenset of str
        The farms of each group that bring more than nothing.
    rows : dict of Cell to ndarray of float, shape (groups,)
        1 where the group lies in the cell.
    """

    order: tuple[Cell, ...]
    parts: dict[Cell, tuple[Contribution, ...]]
    farms: tuple[frozenset[str], ...]
    rows: dict[Cell, Numbers]

    def matrix(self, cells: Iterable[Cell]) -> Numbers:
        """Give the rows of cells, in the order of the hierarchy."""
        wanted = set(cells)
        return np.array([self.rows[cell] for cell in self.order if cell in wanted]).reshape(
            len(wanted), len(self.farms)
        )

    def by_size(self, cells: Iterable[Cell]) -> list[Cell]:
        """Sort cells: fewest farms first, then least weight, then the order of the hierarchy; the total is last."""
        places = {cell: place for place, cell in enumerate(self.order)}

        def size(cell: Cell) -> tuple[bool, int, float, int]:
            parts = self.parts[cell]
            weight = math.fsum(part.weight for part in parts)
            return cell == TOTAL, len(contributors(parts)), weight, places[cell]

        return sorted(cells, key=size)

    def with_the_same_sum(self, cells: Iterable[Cell]) -> set[Cell]:
        """Give the cells and all that hold just what one of them holds: to tell one of these is to tell the other."""
        rows = {self.rows[cell].tobytes() for cell in cells}
        return {cell for cell in self.order if self.rows[cell].tobytes() in rows}

    def smallest_that_helps(self, vector: Numbers, cells: Iterable[Cell]) -> Cell:
        """Choose which of the cells to withhold so that a difference can no longer be had from the others.

        The smallest below the total that does it alone; where none does, the smallest that takes part.
        """
        told = self.by_size(cells)
        rows = np.array([self.rows[cell] for cell in told])
        weights = np.linalg.lstsq(rows.T, vector, rcond=None)[0]
        taking_part = [place for place, weight in enumerate(weights) if abs(weight) > 1e-6 * np.abs(weights).max()]
        for place in taking_part:
            if told[place] != TOTAL and not can_be_had(vector, np.delete(rows, place, axis=0)):
                return told[place]
        return told[taking_part[0]]

    def follows(self, cells: Iterable[Cell], told: Iterable[Cell]) -> list[Cell]:
        """Give those of the cells whose sum can be had from the cells that were told."""
        base = basis(self.matrix(told))
        found = []
        for cell in cells:
            row = self.rows[cell]
            if row.any() and np.linalg.norm(row - base.T @ (base @ row)) <= 1e-8 * np.linalg.norm(row):
                found.append(cell)
        return found


def sort_into_groups(contributions: Iterable[Contribution], hierarchy: Hierarchy) -> Groups:
    """Sort contributions into groups; the order that they come in changes nothing.

    Raises
    ------
    OutOfRange

    Examples
    --------
    >>> from balance.formulas.privacy.hierarchy import single_margins
    >>> plain = single_margins({"region": ("north", "south")})
    >>> groups = sort_into_groups([Contribution("a", 1, 1, ("south",)), Contribution("b", 1, 1, ("south",))], plain)
    >>> groups.matrix(groups.order).tolist(), [sorted(each) for each in groups.farms]
    ([[1.0], [0.0], [1.0]], [['a', 'b']])
    """
    order = hierarchy.cells()
    piles: dict[frozenset[Cell], list[Contribution]] = defaultdict(list)
    for part in gather(contributions, hierarchy):
        piles[hierarchy.cells_of(part.labels)].append(part)
    named = list(piles)  # in the order of their labels
    parts: dict[Cell, list[Contribution]] = {cell: [] for cell in order}
    for cells, pile in piles.items():
        for cell in cells:
            parts[cell].extend(pile)
    return Groups(
        order,
        {cell: tuple(those) for cell, those in parts.items()},
        tuple(contributors(piles[cells]) for cells in named),
        {cell: np.array([float(cell in cells) for cells in named]) for cell in order},
    )
