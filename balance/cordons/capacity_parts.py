"""What the cordons of a farm or a block lack, added up over those of which it is known."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from balance.cordons.capacity import WAITS, YOUNG, CordonsNow


@dataclass(frozen=True)
class Parts:
    """What is lost, of the cordons that were measured; shares, None where none was.

    Attributes
    ----------
    cordons, measured, waiting, young_arms, without_dead_length : int
        On record; known what they lack; with an open case and no arm laid down; arms laid down or filling; measured,
        but not how much is dead.
    lost, blank, dead, filling : float or None
        All of it, and its three parts, each 0 to 1.
    """

    cordons: int
    measured: int
    waiting: int
    young_arms: int
    without_dead_length: int
    lost: float | None
    blank: float | None
    dead: float | None
    filling: float | None


def parts_of(now: CordonsNow, here: NDArray[np.bool_]) -> Parts:
    """Add up the cordons that a mask names."""
    known = here & ~np.isnan(now.lost)
    count = int(np.count_nonzero(known))

    def share(column: NDArray[np.float64]) -> float | None:
        return float(np.nansum(column[known]) / count) if count else None

    return Parts(
        cordons=int(np.count_nonzero(here)),
        measured=count,
        waiting=int(np.count_nonzero(here & (now.states == WAITS))),
        young_arms=int(np.count_nonzero(here & (now.states == YOUNG))),
        without_dead_length=int(np.count_nonzero(known & np.isnan(now.dead))),
        lost=share(now.lost),
        blank=share(now.blank),
        dead=share(now.dead),
        filling=share(now.by_young),
    )
