"""Other sums of farms that would have told the same means and the same spreads: looked for, and held to both."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Final

import numpy as np
from numpy.typing import NDArray

from balance.formulas.privacy.row_space import Numbers
from balance.formulas.privacy.unknowns import Unknowns

Marked = NDArray[np.bool_]
MOST_ROUNDS: Final = 30
#: What a world may miss of a sum that was told, as a share of it: far below the three digits that are told.
SAME: Final = 1e-9


@dataclass(eq=False)
class CurvedWorlds:
    r"""The other sums of farms that would have told the same means and spreads.

    Attributes
    ----------
    unknowns : Unknowns
    steady : float
        How near a reader knows by what factor each farm's sum changed from one season to the next.

    Notes
    -----
    A mean tells :math:`\sum x`, and with it a spread tells :math:`\sum x^2 / w`, because who stands in a cell with
    which weight is taken to be known.  Worlds in which all of this is the same lie on a curved surface, so none of the
    linear programs of ``bounds`` finds them.  They are looked for by Newton's method from the world as it is, with the
    shortest step in shares of each sum: first in the season asked about, then in those beside it, beginning with the
    same factors, so that no farm's change from one season to the next is another than it is known to be.  Whatever is
    found is held to everything that was told.  A world that is found proves that a reader cannot tell; where none is
    found, nothing is proven, and that is taken for the worst.
    """

    unknowns: Unknowns
    steady: float
    typical: float = field(init=False)
    _seasons: NDArray[np.int64] = field(init=False)
    _steps: Numbers = field(init=False)

    def __post_init__(self) -> None:
        values = self.unknowns.values
        above = values[values > 0]
        self.typical = float(np.median(above)) if above.size else 1.0
        # Where a sum is zero it moves in steps of the typical one.
        self._steps = np.where(values > 0, values, self.typical)
        self._seasons = np.array(self.unknowns.seasons, np.int64)

    def closed_to(self, target: Marked, farm: str, within: float) -> frozenset[str]:
        """Give the other farms for whose owners two quick looks find no other world; none, where they do for all.

        An empty name stands for whoever owns no farm, where there is no other.

        Whoever has no sum in what differs between two worlds cannot tell them apart.  So two worlds, in each of which
        one half of the other farms stays as it is, do for every reader, and for whoever owns no farm.
        """
        names = np.array(self.unknowns.farms)
        others = sorted(set(names.tolist()) - {farm})
        halves = (others[::2], others[1::2])
        closed: set[str] = set()
        for half, other_half in (halves, halves[::-1]):
            if not self.leave_open(target, (names == farm) | np.isin(names, half), within):
                closed |= set(other_half or half or ("",))
        return frozenset(closed)

    def leave_open(self, target: Marked, free: Marked, within: float) -> bool:
        """Say whether a world was found in which only sums marked free differ, and the target's by a share."""
        wanted = within * (float(self.unknowns.values[target].sum()) or self.typical)
        return any(self.another(target, way * wanted, free) is not None for way in (1.0, -1.0))

    def another(self, target: Marked, change: float, free: Marked) -> Numbers | None:
        """Look for a world in which the target's sum is another by a change, and only sums marked free are others.

        Parameters
        ----------
        target, free : ndarray of bool, shape (unknowns,)
            The target is of one season.
        change : float
            What is added to the sum of the targets, not 0.

        Returns
        -------
        ndarray of float, shape (unknowns,), or None
            The other sums; None where none was found.
        """
        asked = int(self._seasons[target][0])
        seasons = sorted(set(self._seasons.tolist()), key=lambda season: (abs(season - asked), season))
        world = self.unknowns.values.copy()
        settled = np.zeros(len(world), bool)
        for season in seasons:
            mine = self._seasons == season
            low, high, start = self._from_beside(world, settled, mine)
            goal = (
                (target, float(self.unknowns.values[target].sum()) + change, abs(change)) if season == asked else None
            )
            found = self._settled(np.clip(start, low, high), mine & free, goal, (low, high))
            if found is None:
                return None
            world, settled = found, settled | mine
        return world

    def _from_beside(self, world: Numbers, settled: Marked, mine: Marked) -> tuple[Numbers, Numbers, Numbers]:
        """Give what sums of a season can be beside those of others as they are settled, and where to begin."""
        values = self.unknowns.values
        low, high, start = np.zeros_like(values), np.full_like(values, np.inf), world.copy()
        for before, after in self.unknowns.links:
            if values[before] <= 0:
                continue
            ratio = values[after] / values[before]
            least, most = ratio - self.steady, ratio + self.steady
            if mine[after] and settled[before]:
                low[after], high[after] = max(low[after], least * world[before]), min(high[after], most * world[before])
                start[after] = ratio * world[before]
            elif mine[before] and settled[after]:
                low[before] = max(low[before], world[after] / most)
                high[before] = min(high[before], world[after] / least) if least > 0 else high[before]
                start[before] = world[after] / ratio if ratio > 0 else start[before]
        return low, high, start

    def _settled(
        self,
        world: Numbers,
        free: Marked,
        goal: tuple[Marked, float, float] | None,
        bounds: tuple[Numbers, Numbers],
    ) -> Numbers | None:
        """Change the sums marked free until all that was told is as it was, and the goal is reached."""
        told = self.unknowns.rows[:, free].any(axis=1)
        equal, right = self.unknowns.rows[told], self.unknowns.rows[told] @ self.unknowns.values
        spread = self.unknowns.squares[:, free].any(axis=1)
        curved, square = self.unknowns.squares[spread], self.unknowns.squares[spread] @ self.unknowns.values**2
        unit = np.concatenate([right, square])
        if goal is not None:
            equal, right = np.vstack([equal, goal[0].astype(float)]), np.append(right, goal[1])
            unit = np.concatenate([right[:-1], [goal[2]], square])
        unit = np.maximum(unit, 1e-300)
        best = np.inf
        for turn in range(MOST_ROUNDS):
            missed = np.concatenate([equal @ world - right, curved @ world**2 - square]) / unit
            worst = float(np.abs(missed).max(initial=0.0))
            if worst <= SAME:
                return world
            if turn > 8 and worst > best / 2:
                return None  # it comes no nearer
            best = min(best, worst)
            slopes = np.vstack([equal, 2 * curved * world]) / unit[:, None] * self._steps
            world = self._stepped(world, (slopes, missed), free, bounds)
        return None

    def _stepped(
        self, world: Numbers, wanted: tuple[Numbers, Numbers], free: Marked, bounds: tuple[Numbers, Numbers]
    ) -> Numbers:
        """Go one step towards what is wanted; a sum that stands at its bound stays there, and the others step anew."""
        slopes, missed = wanted
        moving, after = free.copy(), world
        while moving.any():
            step = np.zeros_like(world)
            step[moving] = -np.linalg.lstsq(slopes[:, moving], missed, rcond=1e-12)[0]
            after = world + step * self._steps
            stuck = moving & (((step < 0) & (world <= bounds[0])) | ((step > 0) & (world >= bounds[1])))
            if not stuck.any():
                break
            moving &= ~stuck
        return np.where(moving, np.clip(after, *bounds), world)
