"""What came of each arm that was laid down: it bears, it failed, it was taken back, or it is under way."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from balance.formulas.cordons.replacement_steps import (
    BEARING,
    FAILED,
    FILLING,
    GIVEN_UP,
    LAID_DOWN,
    STEPS,
)
from balance.formulas.cordons.step_history import StepHistory
from balance.formulas.methods import NO_SOURCE, Method

CAME_TO_BEAR: Final = "came_to_bear"
CAME_TO_NOTHING: Final = "failed"
TAKEN_BACK: Final = "taken_back"
UNDER_WAY: Final = "under_way"
OUTCOMES: Final = (CAME_TO_BEAR, CAME_TO_NOTHING, TAKEN_BACK, UNDER_WAY)

METHOD: Final = Method(
    code="success_of_attempts",
    version=1,
    label="Share of the arms laid down that came to bear",
    expression="came to bear ÷ (came to bear + failed), with the exact binomial interval",
    source="Clopper & Pearson 1934, Biometrika 26:404-413 (from memory) for the interval; what counts as an attempt "
    f"and as its end is ours: {NO_SOURCE}",
    mark=NO_SOURCE,
    note="Each time an arm is laid down is an attempt, also the second in one case. It came to bear where it bears, or "
    "bore until it failed; failed where it failed, or its case was given up while it lay; was taken back where a step "
    "back put another shoot or another arm in its place; else it is under way, also where it bore and was put back to "
    "filling. The share is of those that bear or failed; what was taken back or is under way says neither. Attempts "
    "on one vine are taken as independent.",
)
_STANDING: Final = [STEPS.index(step) for step in (LAID_DOWN, FILLING, BEARING)]
_LAID, _BEARS, _FAILED, _GIVEN_UP = (STEPS.index(step) for step in (LAID_DOWN, BEARING, FAILED, GIVEN_UP))


@dataclass(frozen=True, eq=False)
class Attempts:
    """What came of each attempt, in the order in which the arms were laid down.

    Attributes
    ----------
    laid : ndarray of int, shape (m,)
        The place of its first step in the history.
    stood : ndarray of int, shape (m,)
        The place of the newest step at which its arm stood.
    outcome : ndarray of int, shape (m,)
        Places in ``OUTCOMES``.
    given_up : ndarray of bool, shape (m,)
        Failed because the case was given up while the arm lay.
    lost_again : ndarray of bool, shape (m,)
        Came to bear, and failed later.
    """

    laid: NDArray[np.int64]
    stood: NDArray[np.int64]
    outcome: NDArray[np.int64]
    given_up: NDArray[np.bool_]
    lost_again: NDArray[np.bool_]

    def __len__(self) -> int:
        return len(self.laid)


def attempts_in(history: StepHistory) -> Attempts:
    """Find the attempts in the steps of many cases, and what came of each.

    Parameters
    ----------
    history : StepHistory

    Returns
    -------
    Attempts

    Notes
    -----
    See ``METHOD``: an attempt runs from the step that lays an arm down to the step at which that arm stands no more.

    Examples
    --------
    >>> told = ["noticed", "laid_down", "failed", "laid_down", "filling", "bearing"]
    >>> steps = np.array([STEPS.index(step) for step in told])
    >>> found = attempts_in(StepHistory(np.zeros(6, dtype=int), steps, np.arange(6)))
    >>> [OUTCOMES[each] for each in found.outcome]
    ['failed', 'came_to_bear']
    """
    step, count = history.step, len(history)
    laid = np.flatnonzero(step == _LAID)
    bounds = np.flatnonzero(~np.isin(step, _STANDING) | (step == _LAID) | history.first)
    bounds = np.append(bounds, count)
    end = bounds[np.searchsorted(bounds, laid, side="right")]
    stood = end - 1
    ended = (end < count) & (np.append(history.case, -1)[end] == history.case[laid])  # else its case ends with it
    follows = np.where(ended, np.append(step, -1)[end], -1)
    bears = step[stood] == _BEARS
    failed = ~bears & np.isin(follows, [_FAILED, _GIVEN_UP])
    outcome = np.select(
        [bears, failed, ended],
        [OUTCOMES.index(each) for each in (CAME_TO_BEAR, CAME_TO_NOTHING, TAKEN_BACK)],
        OUTCOMES.index(UNDER_WAY),
    )
    return Attempts(laid, stood, outcome, failed & (follows == _GIVEN_UP), bears & ended)
