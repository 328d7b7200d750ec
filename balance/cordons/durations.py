"""How long the cases of a farm take, step by step and from noticed to bearing, by block, cultivar or origin."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from balance.cordons.days import today_on
from balance.cordons.step_histories import BLOCK, CULTIVAR, NONE, ORIGIN, Grouping, days_of, steps_told
from balance.formulas.cordons.durations import Waits, quartiles, waits_at_steps, waits_for_bearing
from balance.formulas.cordons.replacement_steps import OPEN, STEPS
from balance.formulas.cordons.step_history import StepHistory
from records.access import OpenFarm

GROUPINGS: Final = (NONE, BLOCK, CULTIVAR, ORIGIN)


@dataclass(frozen=True)
class Duration:
    """How long something took: so many waits, those that are over, and their quartiles [d]."""

    count: int
    over: int
    lower: float | None
    median: float | None
    upper: float | None

    @property
    def waiting(self) -> int:
        return self.count - self.over


@dataclass(frozen=True)
class AtStep:
    """The waits at one step, and what followed them: step → how many, and the middle of their days."""

    step: str
    duration: Duration
    followed_by: dict[str, tuple[int, float]]


@dataclass(frozen=True)
class GroupDurations:
    """The durations of one group; the cases that were given up before an arm bore are among those not over."""

    key: str
    label: str
    cases: int
    steps: list[AtStep]
    to_bearing: Duration
    given_up: int


def durations_of(opened: OpenFarm, wanted: Grouping) -> list[GroupDurations]:
    """Give the durations of a farm or a block, group by group.

    Raises
    ------
    NotValid
        The farm has no such block, or there is more than can be answered at once.
    """
    told = steps_told(opened, wanted)
    history, today = told.history, days_of(today_on(opened.farm))
    at_steps, to_bearing = waits_at_steps(history, today), waits_for_bearing(history, today)
    found = []
    for place, (key, label) in enumerate(zip(told.keys, told.labels, strict=True)):
        # A wait counts where its candidate stood when it began; a case, by the arm that bore, or its newest candidate.
        waits = at_steps.where(told.group[at_steps.begun] == place)
        bearing = to_bearing.where(told.group[to_bearing.seen] == place)
        if len(waits) or len(bearing):
            found.append(_group(key, label, history, waits, bearing))
    return found


def _group(key: str, label: str, history: StepHistory, waits: Waits, bearing: Waits) -> GroupDurations:
    by_step = [
        _at_step(step, history, waits.where(history.step[waits.begun] == STEPS.index(step)))
        for step in STEPS
        if step in OPEN
    ]
    given_up = ~bearing.over & (history.step[bearing.seen] == STEPS.index("given_up"))
    return GroupDurations(key, label, len(bearing), by_step, duration_of(bearing), int(given_up.sum()))


def _at_step(step: str, history: StepHistory, waits: Waits) -> AtStep:
    over = waits.where(waits.over)
    then = history.step[over.seen]
    return AtStep(
        step,
        duration_of(waits),
        {
            following: (int((then == place).sum()), float(np.median(over.days[then == place])))
            for place, following in enumerate(STEPS)
            if (then == place).any()
        },
    )


def duration_of(waits: Waits) -> Duration:
    """Sum waits up."""
    return Duration(len(waits), int(waits.over.sum()), *quartiles(waits))
