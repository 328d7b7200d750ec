"""How many cordons to replace each winter, so that the lost fruiting capacity stays under a limit."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from balance.formulas.cordons.capacity import DIGITS, Standing, lost_ahead
from balance.formulas.counting import counted
from balance.formulas.errors import OutOfRange


@dataclass(frozen=True)
class PaceFound:
    """The smallest pace that keeps what is lost under a limit, or why there is none.

    Attributes
    ----------
    pace : int or None
        Arms a winter.
    reason : str or None
    best_pace, best_share : int, float
        The pace whose worst winter loses least, and what that winter loses.
    """

    pace: int | None
    reason: str | None
    best_pace: int
    best_share: float


def smallest_pace(standing: Standing, failure_shares: ArrayLike, limit: float, *, only_last: bool = False) -> PaceFound:
    """Find the smallest whole number of arms a winter that keeps what is lost at or under a limit.

    Parameters
    ----------
    standing, failure_shares
        As for ``lost_ahead``.
    limit : float
        Share of the fruiting capacity, 0 to 1.
    only_last : bool
        Only the last winter has to keep it; else every one.

    Returns
    -------
    PaceFound

    Raises
    ------
    OutOfRange

    Notes
    -----
    Every whole pace is tried up to one that leaves nobody waiting, beyond which nothing changes.

    Examples
    --------
    >>> smallest_pace(Standing(100, 4, 1.0, (0, 0), (0.6, 0.3)), [0.02, 0.02], 0.05).pace
    3
    >>> smallest_pace(Standing(100, 4, 1.0, (0, 0), (0.6, 0.3)), [0.02, 0.02], 0.01).reason
    'No pace keeps it: even with 4 arms a winter 4.35 % are lost in the worst winter.'
    """
    if not 0 <= limit <= 1:
        raise OutOfRange("the limit", limit, 0, 1)
    most = max(standing.waiting, float(lost_ahead(standing, failure_shares, [0.0]).waiting.max()))
    paces = np.arange(math.ceil(most - 1e-9) + 1)
    path = lost_ahead(standing, failure_shares, paces).lost
    worst = np.round(path[-1] if only_last else path.max(axis=0), DIGITS)
    best = int(np.argmin(worst))
    keep = np.flatnonzero(worst <= round(limit, DIGITS))
    if keep.size:
        return PaceFound(int(keep[0]), None, best, float(worst[best]))
    when = "the last winter" if only_last else "the worst winter"
    reason = (
        f"No pace keeps it: even with {counted(best, 'arm')} a winter {100 * worst[best]:.3g} % are lost in {when}."
    )
    return PaceFound(None, reason, best, float(worst[best]))
