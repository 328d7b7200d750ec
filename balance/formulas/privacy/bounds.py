"""How closely a farm's sum can be told from what was told: bounds by linear programming."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any, Final

import numpy as np
from numpy.typing import NDArray

from balance.formulas.privacy.row_space import Numbers
from balance.formulas.privacy.unknowns import Unknowns

if TYPE_CHECKING:
    from scipy.optimize import OptimizeResult

Marked = NDArray[np.bool_]
#: How near to its value a farm's sum must not be known, as a share of it.
WITHIN: Final = 0.10
#: How near a reader is taken to know by what factor each farm's sum changed from one season to the next.
STEADY: Final = 0.10
#: A change of less than this share of the largest one is the solver's noise.
NOISE: Final = 1e-9


@dataclass(eq=False)
class Worlds:
    r"""The other sums of farms that would have told the same, as changes d of the sums x as they are.

    Attributes
    ----------
    unknowns : Unknowns
    steady : float
        See ``STEADY``.

    Notes
    -----
    All d with

    .. math:: Q d = 0, \quad x + d \ge 0

    with Q the sums told, and for sums a, b of one farm in two seasons that follow, with :math:`r = x_b / x_a` and s
    the steadiness, :math:`(r - s)(x_a + d_a) \le x_b + d_b \le (r + s)(x_a + d_a)`.  These are convex: with a change
    every smaller one in its direction is found too.

    References
    ----------
    Bounds of suppressed cells by linear programming: Fischetti & Salazar 2001, Management Science 47, 1008 (from
    memory).  The solver is HiGHS, by scipy.
    """

    unknowns: Unknowns
    steady: float = STEADY
    links: Numbers = field(init=False)
    slack: Numbers = field(init=False)
    names: tuple[str, ...] = field(init=False)
    _mine: Marked = field(init=False)
    _found: list[Numbers] = field(init=False, default_factory=list)

    def __post_init__(self) -> None:
        values, rows, slack = self.unknowns.values, [], []
        for before, after in self.unknowns.links:
            if values[before] > 0:
                ratio = values[after] / values[before]
                for sign in (1.0, -1.0):
                    row = np.zeros(len(values))
                    row[after], row[before] = sign, -sign * ratio - self.steady
                    rows.append(row)
                    slack.append(self.steady * values[before])
        self.links, self.slack = np.array(rows).reshape(len(rows), len(values)), np.array(slack)
        self.names = tuple(sorted(set(self.unknowns.farms)))
        self._mine = np.array([self.unknowns.of_farm(name) for name in self.names], bool).reshape(
            len(self.names), len(values)
        )

    def wanted(self, target: Marked, within: float = WITHIN) -> float:
        """Give the change that a sum must be free to make: a share of it, or of the median sum if it is zero."""
        values = self.unknowns.values
        above = values[values > 0]
        return within * (float(values[target].sum()) or (float(np.median(above)) if above.size else 1.0))

    def safe_from(self, target: Marked, within: float = WITHIN) -> frozenset[str]:
        """Give the farms whose owners cannot know the target's sum within a share, by the worlds found so far."""
        if not self._found:
            return frozenset()
        found = np.array(self._found)
        enough = np.abs(found @ target) >= self.wanted(target, within) * (1 - NOISE)
        touched = (np.abs(found[enough]) > 0).astype(float) @ self._mine.T > 0
        free_from = np.asarray((~touched).any(axis=0)).tolist()
        return frozenset(name for name, free in zip(self.names, free_from, strict=True) if free)

    def leave_open(self, target: Marked, reader: str | None, within: float = WITHIN) -> bool:
        """Look for a world that a reader cannot tell from this one, in which the target's sum is another by a share.

        Parameters
        ----------
        target : ndarray of bool, shape (unknowns,)
            The sum asked about is the sum of these.
        reader : str or None
            The farm whose sums the reader knows; None knows no farm's.
        within : float

        Returns
        -------
        bool
            False where the sum is known within the share.

        Raises
        ------
        ArithmeticError
            If the solver gives up.
        """
        unit = self.wanted(target, within)
        least_moves = np.ones(2 * len(target))
        for way in (-1.0, 1.0):
            # In units of the change, so that the solver's tolerances are small against it.
            result = self._solve(least_moves, reader, unit, (target, way))
            if result.status == 0:
                up, down = np.split(np.asarray(result.x, float), 2)
                self._remember((up - down) * unit)
                return True
            if result.status != 2:
                raise ArithmeticError(f"The solver gave up: {result.message}")
        return False

    def bounds(self, target: Marked, reader: str | None) -> tuple[float, float]:
        """Give the least and the most that the target's sum can be for a reader; infinite where nothing bounds it."""
        told = float(self.unknowns.values[target].sum())
        unit = self.wanted(target)
        ends = []
        for sign in (1.0, -1.0):
            result = self._solve(sign * np.concatenate([target, -target.astype(float)]), reader, unit, None)
            ends.append(told + sign * float(result.fun) * unit if result.status == 0 else -sign * np.inf)
        return max(0.0, ends[0]), ends[1]

    def _remember(self, change: Numbers) -> None:
        """Keep a change for other questions, as far as it goes in its direction."""
        change = np.where(np.abs(change) > NOISE * np.abs(change).max(), change, 0.0)
        down = change < 0
        stops = [*(self.unknowns.values[down] / -change[down])]
        if len(self.links):
            pull = self.links @ change
            tight = pull > NOISE * np.abs(change).max()
            stops += [*(self.slack[tight] / pull[tight])]
        self._found.append(change * max(1.0, min(stops, default=1.0)))

    def _solve(
        self, aim: Numbers, reader: str | None, unit: float, wanted: tuple[Marked, float] | None
    ) -> OptimizeResult:
        from scipy.optimize import linprog  # noqa: PLC0415 - heavy, and only the audit needs it
        from scipy.sparse import csr_array  # noqa: PLC0415 - see above

        values, own = self.unknowns.values / unit, self.unknowns.of_farm(reader)
        equal, right = self.unknowns.rows, np.zeros(len(self.unknowns.rows))
        if wanted is not None:
            equal, right = np.vstack([equal, wanted[0].astype(float)]), np.append(right, wanted[1])
        up, down = np.where(own, 0.0, np.inf), np.where(own, 0.0, values)
        # scipy takes sparse matrices here, its stubs do not say so
        sums: Any = csr_array(np.hstack([equal, -equal]))
        links: Any = csr_array(np.hstack([self.links, -self.links])) if len(self.links) else None
        return linprog(
            aim,
            A_eq=sums,
            b_eq=right,
            A_ub=links,
            b_ub=self.slack / unit if len(self.links) else None,
            bounds=[(0.0, most) for most in (*up.tolist(), *down.tolist())],
            method="highs",
        )
