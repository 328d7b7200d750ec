"""What a reader of told figures would like to know: each farm's sums, and how they hang together over snapshots."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from balance.formulas.privacy.hierarchy import Cell, Contribution, Hierarchy, gather
from balance.formulas.privacy.row_space import Numbers

#: A cell that was told: the place of its snapshot, and the cell.
Told = tuple[int, Cell]


@dataclass(frozen=True)
class Snapshot:
    """What was published at one time: the season that it is of, what it was made from, and the cells that were told.

    ``spreads`` are those of the cells that were told whose spread was told beside the mean.
    """

    season: int
    contributions: tuple[Contribution, ...]
    told: frozenset[Cell]
    spreads: frozenset[Cell] = frozenset()


@dataclass
class _Unknown:
    farm: str
    season: int
    value: float
    labels: tuple[str | None, ...]
    cells: set[Told] = field(default_factory=set)
    #: Its weight in each snapshot that it is in.
    weights: dict[int, float] = field(default_factory=dict)


@dataclass(frozen=True, eq=False)
class Unknowns:
    """Everything that could be asked about farms, as columns; everything told, as rows.

    Attributes
    ----------
    farms : tuple of str
        Whose each unknown is.
    seasons : tuple of int
        Which season each is of.
    values : ndarray of float, shape (unknowns,)
    told : tuple of Told
        What each row is.
    rows : ndarray of float, shape (told, unknowns)
        1 where the row adds up the unknown.
    links : tuple of (int, int)
        Unknowns of one farm under the same labels, in two seasons that follow one another.
    spreads : tuple of Told
        The cells whose spread was told.
    squares : ndarray of float, shape (spreads, unknowns)
        One over the weight of the unknown where the cell holds it: a spread tells the sum of squares by weight.
    """

    farms: tuple[str, ...]
    seasons: tuple[int, ...]
    values: Numbers
    told: tuple[Told, ...]
    rows: Numbers
    links: tuple[tuple[int, int], ...]
    spreads: tuple[Told, ...]
    squares: Numbers

    def of_farm(self, farm: str | None) -> NDArray[np.bool_]:
        """Mark the unknowns of a farm."""
        return np.array([each == farm for each in self.farms], bool)

    def by_season(self) -> tuple[Unknowns, ...]:
        """Divide by season: no sum that was told holds anything of two."""
        parts = []
        for season in sorted(set(self.seasons)):
            places = [place for place, each in enumerate(self.seasons) if each == season]
            filled = [row for row in range(len(self.told)) if self.rows[row, places].any()]
            spread = [row for row in range(len(self.spreads)) if self.squares[row, places].any()]
            parts.append(
                Unknowns(
                    tuple(self.farms[place] for place in places),
                    (season,) * len(places),
                    self.values[places],
                    tuple(self.told[row] for row in filled),
                    self.rows[np.ix_(filled, places)],
                    (),
                    tuple(self.spreads[row] for row in spread),
                    self.squares[np.ix_(spread, places)],
                )
            )
        return tuple(parts)

    def told_of(self, marked: NDArray[np.bool_]) -> tuple[Told, ...]:
        """Give what was told that holds any of the marked unknowns."""
        return tuple(name for name, row in zip(self.told, self.rows, strict=True) if (row[marked] > 0).any())


def unknowns_of(snapshots: Sequence[Snapshot], hierarchy: Hierarchy) -> Unknowns:
    """Lay out what was told in all snapshots over what stands behind it.

    Within one season a farm's sum that stayed the same from one snapshot to the next is one unknown, also where its
    labels changed: that is what gives it away.  A sum that was corrected is another.

    Parameters
    ----------
    snapshots : sequence of Snapshot
        In the order that they were published.
    hierarchy : Hierarchy
        Of them all.

    Returns
    -------
    Unknowns
        Those that lie in nothing told are left out.
    """
    found: list[_Unknown] = []
    for place, snapshot in enumerate(snapshots):
        left = gather(snapshot.contributions, hierarchy)
        for same_labels in (True, False):
            left = _match(left, found, place, snapshot, same_labels=same_labels)
        found.extend(
            _Unknown(part.farm, snapshot.season, part.value, part.labels, set(), {place: part.weight}) for part in left
        )
        # What was matched keeps its unknown; each lies in the cells of the labels that it has now.
        for unknown in found:
            if place in unknown.weights:
                unknown.cells |= {(place, cell) for cell in hierarchy.cells_of(unknown.labels) & snapshot.told}
    seen = [each for each in found if each.cells]
    told = tuple((p, cell) for p, s in enumerate(snapshots) for cell in hierarchy.cells() if cell in s.told)
    spreads = tuple(row for row in told if row[1] in snapshots[row[0]].spreads)
    return Unknowns(
        tuple(each.farm for each in seen),
        tuple(each.season for each in seen),
        np.array([each.value for each in seen], float),
        told,
        np.array([[float(row in each.cells) for each in seen] for row in told]).reshape(len(told), len(seen)),
        _links(seen),
        spreads,
        np.array(
            [[1 / each.weights[row[0]] if row in each.cells else 0.0 for each in seen] for row in spreads], float
        ).reshape(len(spreads), len(seen)),
    )


def _match(
    parts: Iterable[Contribution], found: list[_Unknown], place: int, snapshot: Snapshot, *, same_labels: bool
) -> tuple[Contribution, ...]:
    """Find the unknown that each part was before, if it was one; give the parts that are new."""
    left = []
    for part in parts:
        for unknown in found:
            if (
                (unknown.farm, unknown.season, unknown.value) == (part.farm, snapshot.season, part.value)
                and place not in unknown.weights
                and (unknown.labels == part.labels or not same_labels)
            ):
                unknown.weights[place] = part.weight
                unknown.labels = part.labels
                break
        else:
            left.append(part)
    return tuple(left)


def _links(unknowns: list[_Unknown]) -> tuple[tuple[int, int], ...]:
    seasons = sorted({each.season for each in unknowns})
    following = dict(pairwise(seasons))
    newest: dict[tuple[str, int, tuple[str | None, ...]], int] = {}
    for place, each in enumerate(unknowns):
        newest[each.farm, each.season, each.labels] = place
    return tuple(
        (place, later)
        for (farm, season, labels), place in newest.items()
        if (later := newest.get((farm, following.get(season, season), labels), place)) != place
    )
