"""Fruiting capacity that is lost while cordons wait and young arms fill, under a pace of replacement."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

from balance.formulas.cordons.candidate_advice import NODES, OREGON
from balance.formulas.errors import OutOfRange
from balance.formulas.methods import COMPUTED, Method

MOST_CORDONS: Final = 500_000
MOST_WINTERS: Final = 10
#: Years from laying an arm down until it bears in full.
YEARS_TO_FULL: Final = 2
MOST_YEARS: Final = 10
ABOUT_TWO_YEARS: Final = (
    "Univ. California, trunk-disease extension pages: about 2 years for removal and retraining (READ)"
)
#: Shares that differ by less mean the same.
DIGITS: Final = 9

CAPACITY: Final = Method(
    code="cordon-capacity",
    version=1,
    label="Fruiting capacity lost, winter by winter",
    expression="lost = (waiting × what a failed cordon lacks + young arms × what they lack yet + grown × their blank "
    "share) ÷ cordons",
    source=f"{ABOUT_TWO_YEARS}; {NODES}; {OREGON}: a shoot is kept a year ahead",
    mark=COMPUTED,
    note="Between the first winter and the last an arm fills in equal steps, every cordon counts alike, what an old "
    "arm still carries beside the young one is not counted, and blank wood on grown cordons stays as it is: common "
    "practice, no source.",
)


@dataclass(frozen=True)
class Standing:
    """The cordons of a block as they stand now.

    Attributes
    ----------
    cordons : float
        All of them, those that wait and the young arms included, above 0 to ``MOST_CORDONS``.
    waiting : float
        Cordons that failed and for which no arm is laid down.
    lost_of_waiting : float
        What one of these lacks, 0 to 1.
    young : tuple of float
        Young arms by seasons since they were laid down: 0, 1, …; one count for each year to full.
    lost_of_young : tuple of float
        What an arm lacks in each of these seasons, 0 to 1, never rising: see ``young_losses``.
    lost_of_grown : float
        What a grown cordon lacks on the average, 0 to 1.
    """

    cordons: float
    waiting: float
    lost_of_waiting: float
    young: tuple[float, ...]
    lost_of_young: tuple[float, ...]
    lost_of_grown: float = 0.0

    def __post_init__(self) -> None:
        if not 0 < self.cordons <= MOST_CORDONS:
            raise OutOfRange("cordons", self.cordons, "above 0", MOST_CORDONS)
        if not (self.waiting >= 0 and all(each >= 0 for each in self.young)):
            raise OutOfRange("cordons that wait, or young arms", (self.waiting, *self.young), 0, self.cordons)
        if not self.waiting + sum(self.young) <= self.cordons * (1 + 1e-12):
            raise OutOfRange("cordons that wait and young arms", self.waiting + sum(self.young), 0, self.cordons)
        shares = (self.lost_of_waiting, *self.lost_of_young, self.lost_of_grown)
        if not all(0 <= each <= 1 for each in shares):
            raise OutOfRange("a lost share", shares, 0, 1)
        if not 1 <= len(self.young) == len(self.lost_of_young) <= MOST_YEARS:
            raise OutOfRange("years to full", len(self.young), 1, MOST_YEARS)
        if list(self.lost_of_young) != sorted(self.lost_of_young, reverse=True):
            raise OutOfRange("what young arms lack", self.lost_of_young, "never rising", "from year to year")


def young_losses(first_share: float, years_to_full: int = YEARS_TO_FULL) -> tuple[float, ...]:
    """Give what a young arm lacks in its first season, the next, and so on until it bears in full.

    Parameters
    ----------
    first_share : float
        What it carries in its first season, of a grown cordon, 0 to 1.
    years_to_full : int
        1 to ``MOST_YEARS``; from that season on it lacks nothing.

    Returns
    -------
    tuple of float
        One share for each year.

    Raises
    ------
    OutOfRange

    References
    ----------
    See ``ABOUT_TWO_YEARS`` and ``NODES``; equal steps between: common practice, no source.

    Examples
    --------
    >>> young_losses(0.4), young_losses(0.4, 1)
    ((0.6, 0.3), (0.6,))
    """
    if not 0 <= first_share <= 1:
        raise OutOfRange("the share of the first season", first_share, 0, 1)
    if not 1 <= years_to_full <= MOST_YEARS:
        raise OutOfRange("years to full", years_to_full, 1, MOST_YEARS)
    return tuple((1 - first_share) * (years_to_full - season) / years_to_full for season in range(years_to_full))


@dataclass(frozen=True, eq=False)
class Path:
    """What is lost winter by winter; the first axis is the winter, the second the pace.

    Attributes
    ----------
    lost : ndarray of float, shape (winters, paces)
        Share of the fruiting capacity, 0 to 1.
    waiting, laid_down, failed : ndarray of float, shape (winters, paces)
        Cordons that wait after the winter, arms laid down in it, and failures of it.
    """

    lost: NDArray[np.float64]
    waiting: NDArray[np.float64]
    laid_down: NDArray[np.float64]
    failed: NDArray[np.float64]


def lost_now(standing: Standing) -> float:
    """Give the share of the fruiting capacity that is lost now, 0 to 1.

    Examples
    --------
    >>> lost_now(Standing(100, 4, 1.0, (2, 0), (0.6, 0.3), 0.05))
    0.099
    """
    grown = standing.cordons - standing.waiting - sum(standing.young)
    young = sum(count * lacks for count, lacks in zip(standing.young, standing.lost_of_young, strict=True))
    lost = standing.waiting * standing.lost_of_waiting + young + max(grown, 0.0) * standing.lost_of_grown
    return round(lost / standing.cordons, DIGITS)


def lost_ahead(standing: Standing, failure_shares: ArrayLike, paces: ArrayLike) -> Path:
    r"""Give what is lost in each of the next winters, under each pace of replacement.

    Parameters
    ----------
    standing : Standing
    failure_shares : array_like of float, shape (winters,)
        Share of the standing cordons that fails in each winter, 0 to 1; 1 to ``MOST_WINTERS`` winters.
    paces : array_like of float, shape (paces,)
        Arms that are laid down each winter at most, 0 or more.

    Returns
    -------
    Path

    Raises
    ------
    OutOfRange

    Notes
    -----
    Expected values.  A cordon that fails in a winter waits at least until the next one, because its shoot is kept a
    summer ahead.  Each winter first the pace p is laid down from what waits, then a share f of all that stand fails,
    young arms too.  With :math:`T_0` the cordons that wait and :math:`T_j` these and the arms younger than j seasons,

    .. math:: T_0' = f N + (1 - f) \max(T_0 - p, 0), \qquad T_{j+1}' = f N + (1 - f)\, T_j

    and what grown cordons there were decline as :math:`G' = (1 - f) G`.  The share lost is
    :math:`\left[(q - l_0) T_0 + \sum_j (l_j - l_{j+1}) T_{j+1} + u G\right] / N` with q, l and u what a waiting
    cordon, a young arm and a grown one lack.

    What follows from it (and is tested): every T falls, or stays, as the pace grows.  So where a failed cordon lacks
    at least what an arm just laid down lacks (:math:`q \ge l_0`), a faster pace loses no more in any winter.  Where it
    lacks less, a faster pace may lose more for a time: at most :math:`(l_0 - q)` times the cordons that it took
    from those that wait.  And where grown cordons lack nothing and :math:`q \ge l_0`, more failures never lose less.

    References
    ----------
    See ``CAPACITY``; the recursion is ours.

    Examples
    --------
    >>> path = lost_ahead(Standing(100, 4, 1.0, (0, 0), (0.6, 0.3)), [0.02, 0.02], [0, 6])
    >>> path.lost.round(4).tolist()
    [[0.0592, 0.0435], [0.078, 0.0433]]
    """
    shares, pace = np.atleast_1d(np.asarray(failure_shares, float)), np.atleast_1d(np.asarray(paces, float))
    if not 1 <= shares.size <= MOST_WINTERS:
        raise OutOfRange("winters", shares.size, 1, MOST_WINTERS)
    if not ((shares >= 0) & (shares <= 1)).all():
        raise OutOfRange("the share that fails", shares.tolist(), 0, 1)
    if not (np.isfinite(pace) & (pace >= 0)).all():
        raise OutOfRange("the pace", pace.tolist(), 0, "any finite number")
    total = standing.cordons
    behind = np.minimum(np.cumsum([standing.waiting, *standing.young]), total)[:, None] * np.ones_like(pace)
    grown = total - behind[-1, 0]
    lacks = np.array([standing.lost_of_waiting, *standing.lost_of_young, 0.0])
    told = [np.empty((shares.size, pace.size)) for _ in range(4)]
    for winter, share in enumerate(shares):
        laid = np.minimum(pace, behind[0])
        failed = share * (total - behind[0] + laid)
        behind = share * total + (1 - share) * np.vstack([behind[0] - laid, behind[:-1]])
        grown *= 1 - share
        lost = ((lacks[:-1] - lacks[1:]) @ behind + standing.lost_of_grown * grown) / total
        for column, value in zip(told, (np.clip(lost, 0, 1), behind[0], laid, failed), strict=True):
            column[winter] = value
    return Path(*told)
