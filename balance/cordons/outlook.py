"""What the lives of a farm's cordons say of the winters ahead: who stands, who was followed, how many will fail."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from django.utils import timezone
from numpy.typing import NDArray

from balance.cordons.lives import STANDING, Lives, lives_of
from balance.cordons.survival import AGE, SINCE_FIRST_INSPECTION
from balance.formulas.cordons.age_hazards import MOST_AGE
from balance.formulas.cordons.forecast import USUAL_CONFIDENCE, Outlook, replacements_ahead
from balance.samples.sampling import season_ahead
from records.access import OpenFarm
from records.models import Block


@dataclass(frozen=True, eq=False)
class History:
    """Who stands and what was followed, by whole years on the clock.

    Attributes
    ----------
    season : int
        What is known up to this season; the first winter ahead is the next one's.
    clock : str
        One of ``CLOCKS``.
    standing, exposure, failures : ndarray of int, shape (ages,)
        Cordons that go into the next winter at each age; cordon-winters followed; failures among them.
    left_out : int
        Cordons standing whose age is not known.
    prevalent : int
        Cordons that had failed when they were first looked at: never followed.
    """

    season: int
    clock: str
    standing: NDArray[np.int64]
    exposure: NDArray[np.int64]
    failures: NDArray[np.int64]
    left_out: int
    prevalent: int


def history_for(opened: OpenFarm, block: Block | None, season: int | None, clock: str | None) -> History:
    """Give the history of a farm's cordons, or a block's, as known in a season; without one, in the newest."""
    lives = lives_of(opened, block, season)
    if season is None:
        season = int(lives.lasts.max()) if len(lives) else season_ahead(opened.farm, timezone.now())
    return history_of(lives, season, clock)


def history_of(lives: Lives, season: int, clock: str | None) -> History:
    """Count lives up by age, or by years since the first look where that was asked for or an age is not known."""
    stands = lives.ends == STANDING
    if clock is None:
        clock = SINCE_FIRST_INSPECTION if np.isnan(lives.starts[stands | lives.followed]).any() else AGE
    origins = lives.starts if clock == AGE else lives.firsts
    known = ~np.isnan(origins)
    counted = lives.followed & known
    first = (lives.entered + 1 - origins)[counted]
    last = (lives.lasts - origins)[counted]
    return History(
        season=season,
        clock=clock,
        standing=_by_age((season + 1 - origins)[stands & known]),
        exposure=_between(first, last),
        failures=_by_age((lives.lasts - origins)[counted & lives.events]),
        left_out=int(np.count_nonzero(stands & ~known)),
        prevalent=int(np.count_nonzero(lives.prevalent)),
    )


def _by_age(ages: NDArray[np.float64]) -> NDArray[np.int64]:
    whole = np.clip(ages, 0, MOST_AGE).astype(np.int64)
    return np.bincount(whole, minlength=MOST_AGE + 1).astype(np.int64)


def _between(first: NDArray[np.float64], last: NDArray[np.float64]) -> NDArray[np.int64]:
    """Count the winters at each age from the first to the last of every life; the very old count as the oldest."""
    begin, end = np.maximum(first, 0).astype(np.int64), last.astype(np.int64) + 1
    size = int(max(end.max(initial=0), MOST_AGE)) + 2
    steps = np.bincount(begin, minlength=size) - np.bincount(end, minlength=size)
    at_risk = np.cumsum(steps)
    counts = at_risk[: MOST_AGE + 1].astype(np.int64)
    counts[-1] += at_risk[MOST_AGE + 1 :].sum()
    return counts


def outlook_of(history: History, winters: int, confidence: float = USUAL_CONFIDENCE) -> Outlook:
    """Foresee the winters after a history."""
    return replacements_ahead(
        history.standing, history.exposure, history.failures, winters=winters, confidence=confidence
    )
