"""How long a case stands at each step before the next is taken, and how long it takes until a new arm bears."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from balance.formulas.cordons.replacement_steps import BEARING, CLOSED, GIVEN_UP, STEPS
from balance.formulas.cordons.step_history import StepHistory
from balance.formulas.cordons.survival import Survival, kaplan_meier
from balance.formulas.methods import NO_SOURCE, Method

METHOD: Final = Method(
    code="durations_of_steps",
    version=1,
    label="Days from one step of a replacement to the next, those still waiting counted in",
    expression="quartile p: the first day on which the share that waits, Π (1 - gone ÷ at risk), is at most 1 - p",
    source="Kaplan & Meier 1958, Journal of the American Statistical Association 53:457-481 (from memory) for the "
    f"quartiles; what begins and ends a wait is ours: {NO_SOURCE}",
    mark=NO_SOURCE,
    note="Steps back count as they are: each time a case comes to a step is a wait of its own, and whatever step "
    "follows, forward or back, ends it. A case that stands at a step waits until today (right censored). From noticed "
    "to bearing the clock runs from the day on which the case was noticed to the first day on which an arm bore, "
    "whatever lay between; a case that is given up before counts as waiting up to that day, and one taken up again as "
    "never given up. Waits of one case are taken as independent.",
)
#: Of a product of shares that is meant to be a quarter, a half or three quarters.
_NOISE: Final = 1e-9
_CLOSED: Final = [STEPS.index(step) for step in CLOSED]
_BEARS, _GIVEN_UP = STEPS.index(BEARING), STEPS.index(GIVEN_UP)


@dataclass(frozen=True, eq=False)
class Waits:
    """Waits for something, each over or still lasting.

    Attributes
    ----------
    days : ndarray of int, shape (m,)
        How long each lasted, or lasts until now [d].
    over : ndarray of bool, shape (m,)
        Whether what was waited for came; else it is still waited for (right censored).
    begun, seen : ndarray of int, shape (m,)
        Places in the history: of the step with which the wait began, and of the newest step that is known of it.
    """

    days: NDArray[np.int64]
    over: NDArray[np.bool_]
    begun: NDArray[np.int64]
    seen: NDArray[np.int64]

    def __len__(self) -> int:
        return len(self.days)

    def where(self, chosen: NDArray[np.bool_]) -> Waits:
        """Give some of them."""
        return Waits(self.days[chosen], self.over[chosen], self.begun[chosen], self.seen[chosen])


def waits_at_steps(history: StepHistory, today: int) -> Waits:
    """Give how long cases stood at each step that asks for work, until whatever step followed.

    Parameters
    ----------
    history : StepHistory
    today : int
        On the calendar of ``history.day``; a step that lies ahead of it waits no days.

    Returns
    -------
    Waits
        ``seen`` is the step that ended it, or the one that stands.

    Examples
    --------
    >>> told = np.array([STEPS.index(step) for step in ("noticed", "candidate_chosen")])
    >>> waits = waits_at_steps(StepHistory(np.zeros(2, dtype=int), told, np.array([0, 170])), 200)
    >>> waits.days.tolist(), waits.over.tolist()
    ([170, 30], [True, False])
    """
    begun = np.flatnonzero(~np.isin(history.step, _CLOSED))
    over = ~history.last[begun]
    seen = begun + over
    until = np.where(over, history.day[seen], np.maximum(today, history.day[seen]))
    return Waits(until - history.day[begun], over, begun, seen)


def waits_for_bearing(history: StepHistory, today: int) -> Waits:
    """Give how long each case took from noticed to the first day on which its new arm bore.

    Parameters
    ----------
    history : StepHistory
    today : int
        On the calendar of ``history.day``.

    Returns
    -------
    Waits
        One a case; ``seen`` is the first bearing step, or else the newest one.

    Examples
    --------
    >>> told = np.array([STEPS.index(step) for step in ("noticed", "laid_down", "bearing")])
    >>> waits_for_bearing(StepHistory(np.zeros(3, dtype=int), told, np.array([0, 40, 900])), 2000).days.tolist()
    [900]
    """
    first, last = np.flatnonzero(history.first), np.flatnonzero(history.last)
    bears = np.append(np.flatnonzero(history.step == _BEARS), len(history))
    bore = bears[np.searchsorted(bears, first)]
    over = bore <= last
    seen = np.where(over, bore, last)
    stopped = over | (history.step[seen] == _GIVEN_UP)
    until = np.where(stopped, history.day[seen], np.maximum(today, history.day[seen]))
    return Waits(until - history.day[first], over, first, seen)


def quartiles(waits: Waits) -> tuple[float | None, float | None, float | None]:
    """Give the day by which a quarter, half and three quarters are over, those still waiting counted in.

    Parameters
    ----------
    waits : Waits

    Returns
    -------
    tuple of float or None
        Lower quartile, median, upper quartile [d]; None where too many still wait to say.

    Notes
    -----
    See ``METHOD``.  Where none waits any more they are the smallest days by which so many are over.

    Examples
    --------
    >>> days, over = np.array([10, 20, 30, 40]), np.array([True, True, False, True])
    >>> quartiles(Waits(days, over, days, days))
    (10.0, 20.0, 40.0)
    """
    if not len(waits):
        return None, None, None
    table = kaplan_meier(waits.days, waits.over)
    lower, median, upper = (_first_day(table, share) for share in (0.25, 0.5, 0.75))
    return lower, median, upper


def _first_day(table: Survival, share: float) -> float | None:
    reached = np.flatnonzero(table.survival <= 1 - share + _NOISE)
    return float(table.sets.times[reached[0]]) if len(reached) else None
