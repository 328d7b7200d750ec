"""What the cases of a farm ask for in one winter or summer: each task with its vine, its reason and its urgency.

The work is what is left to do as the cases stand now.  Cases are read as rows, not as objects: a block may have
thousands.
"""

from __future__ import annotations

import uuid
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from datetime import date
from typing import Any, Final, NamedTuple

from django.db import connection

from balance.cordons.models import CordonSettings, Reason
from balance.cordons.parts_of_year import part_of_year_of
from balance.cordons.proposals import Proposal, proposals_of
from balance.formulas.cordons.reminders import DECIDE, TASKS, Task, tasks_of
from balance.formulas.cordons.replacement_steps import (
    BEARING,
    CANDIDATE_CHOSEN,
    FAILED,
    FILLING,
    GIVEN_UP,
    LAID_DOWN,
    NOTICED,
)
from balance.formulas.counting import counted
from balance.missing_vines import plants_of
from records.access import OpenFarm
from records.errors import NotValid
from records.models import Farm

#: More cases than this are asked for block by block or row by row; a block of 10,000 vines with both cordons failing.
MOST_CASES: Final = 20_000
#: A case whose arm bears is looked at for its old arm this many seasons: no step says that the old arm is off.
SEASONS_AFTER_BEARING: Final = 2

Minutes = Callable[[uuid.UUID, str], float | None]
WALKING: Final = "walking"
URGENCY: Final = "urgency"
TASK: Final = "task"
ORDERS: Final = (WALKING, URGENCY, TASK)

_SINCE: Final = {
    NOTICED: "noticed on",
    CANDIDATE_CHOSEN: "a candidate was chosen on",
    LAID_DOWN: "the candidate was laid down on",
    FILLING: "the new arm has been filling since",
    BEARING: "the new arm has borne since",
    FAILED: "the attempt failed on",
}
_CASES: Final = """
    SELECT c.id, c.block_id, b.name, c.vine_id, v.row_number, v.place, v.label, c.scope, c.cordon, c.reasons,
           c.noticed_on, c.step, c.step_on, c.step_season, c.laid_down_season
    FROM cordon_case c
    JOIN vine v ON v.farm_id = c.farm_id AND v.id = c.vine_id
    JOIN block b ON b.farm_id = c.farm_id AND b.id = c.block_id
    WHERE c.farm_id = %(farm)s AND c.withdrawn_at IS NULL AND c.step <> %(given_up)s
      AND NOT (c.step = %(bearing)s AND c.step_season < %(borne)s)
      AND (%(block)s::uuid IS NULL OR c.block_id = %(block)s) AND (%(row)s::int IS NULL OR v.row_number = %(row)s)
    LIMIT %(most)s
"""


class Case(NamedTuple):
    """What a worklist needs of a case; a proposal of one has no id and no step yet."""

    id: uuid.UUID | None
    block_id: uuid.UUID
    block_name: str
    vine_id: uuid.UUID
    row_number: int
    place: int
    label: str
    scope: str
    cordon: str
    reasons: list[str]
    noticed_on: date
    step: str
    step_on: date
    step_season: int
    laid_down_season: int | None


@dataclass(frozen=True)
class Work:
    """One task on one vine, and why: what stands, since when, so that the list can be read without the case."""

    case: Case
    task: Task
    minutes: float | None
    because: str
    inspection_id: uuid.UUID | None = None

    @property
    def reason(self) -> str:
        """Name the cordon and say why; see ``late``."""
        case = self.case
        if self.task.code == DECIDE:
            return self.because  # a proposal names its cordons itself
        return (
            f"{case.cordon.replace('_', ' ')} cordon: {self.because}" if case.cordon else f"whole vine: {self.because}"
        )

    @property
    def late(self) -> str:
        """Say how long it is overdue; empty where it is not."""
        seasons = self.task.overdue
        return f"{counted(seasons, 'season')} overdue" if seasons else ""


@dataclass(frozen=True)
class Wanted:
    """Which work is asked for: a season's winter or summer, on which block or row, of which task, in which order."""

    season: int
    part_of_year: str
    block_id: uuid.UUID | None = None
    row_number: int | None = None
    task: str | None = None
    order: str = WALKING


@dataclass(frozen=True)
class Worklist:
    """The work in its order, how many cases ask for none because their vine is gone, and why no proposals are in it."""

    works: list[Work]
    without_a_vine: int
    without_proposals: str = ""


def worklist(opened: OpenFarm, wanted: Wanted) -> Worklist:
    """Give the work that the farm's cases ask for; none on a vine that is missing, or that a younger one replaced.

    Raises
    ------
    NotValid
        There are too many cases to be answered at once.
    """
    found = _cases(opened, wanted)
    cases = _on_standing_vines(opened, wanted, found)
    minutes = _minutes(opened)
    works = [
        Work(case, task, minutes(case.block_id, task.code), _because(case))
        for case in cases
        for task in _tasks(opened.farm, case, wanted)
        if wanted.task in {None, task.code}
    ]
    proposed, without = _proposed(opened, wanted, minutes) if wanted.task in {None, DECIDE} else ([], "")
    return Worklist(sorted([*works, *proposed], key=_KEYS[wanted.order]), len(found) - len(cases), without)


def asks_for_work(opened: OpenFarm, wanted: Wanted) -> bool:
    """Tell whether any case asks for work; what the thresholds would propose counts for nothing before it is a case."""
    try:
        found = _cases(opened, wanted)
    except NotValid:  # too many to be listed at once, which is an answer, too
        return True
    return any(_tasks(opened.farm, case, wanted) for case in _on_standing_vines(opened, wanted, found))


def _on_standing_vines(opened: OpenFarm, wanted: Wanted, cases: list[Case]) -> list[Case]:
    """Leave out cases whose vine is missing, or was replaced by a younger one."""
    plants = plants_of(opened, wanted.season, [case.vine_id for case in cases])
    return [case for case in cases if case.vine_id not in plants or plants[case.vine_id].stood_on(case.noticed_on)]


def _proposed(opened: OpenFarm, wanted: Wanted, minutes: Minutes) -> tuple[list[Work], str]:
    """Give what the farm's thresholds propose, so that it is decided on; or why that is not to be had at once."""
    try:
        found = proposals_of(opened, block_id=wanted.block_id, row_number=wanted.row_number, season=wanted.season)
    except NotValid as error:
        return [], error.faults[0].detail
    task = Task(DECIDE, wanted.season, 0)
    return [
        Work(_undecided(each), task, minutes(each.block_id, DECIDE), each.sentence, each.inspection_id)
        for each in found
    ], ""


def _undecided(each: Proposal) -> Case:
    place = (each.block_id, each.block_name, each.vine_id, each.row_number, each.place, each.label)
    what = (each.scope, each.cordon, list(each.reasons), each.noticed_on)
    return Case(None, *place, *what, "", each.noticed_on, each.season, None)


def _because(case: Case) -> str:
    """Say what stands since when, and why the case was opened where it says more than that somebody saw it."""
    why = ", ".join(str(Reason(reason).label) for reason in case.reasons if reason != Reason.SEEN)
    told = f"{_SINCE[case.step]} {case.step_on}"
    return f"{told} ({why})" if why else told


def _cases(opened: OpenFarm, wanted: Wanted) -> list[Case]:
    asked = {
        "farm": opened.farm.pk,
        "block": wanted.block_id,
        "row": wanted.row_number,
        "given_up": GIVEN_UP,
        "bearing": BEARING,
        "borne": wanted.season - SEASONS_AFTER_BEARING,
        "most": MOST_CASES + 1,
    }
    with connection.cursor() as cursor:
        cursor.execute(_CASES, asked)
        cases = [Case(*row) for row in cursor.fetchall()]
    if len(cases) > MOST_CASES:
        raise NotValid.at(
            "block" if wanted.block_id is None else "row_number",
            code="too_many_cases",
            detail=f"More than {MOST_CASES:,} cases may ask for work; ask block by block, or row by row.",
        )
    return cases


def _tasks(farm: Farm, case: Case, wanted: Wanted) -> list[Task]:
    step_in = part_of_year_of(farm, case.step_on)
    return tasks_of(
        case.step, case.step_season, case.laid_down_season, wanted.season, wanted.part_of_year, step_in=step_in
    )


def _minutes(opened: OpenFarm) -> Minutes:
    """Give how long a task takes on a block: by its own settings, else by the farm's; None where nobody said."""
    told: dict[uuid.UUID | None, dict[str, float]] = {
        settings.block_id: settings.minutes_a_task for settings in CordonSettings.objects.for_farm(opened.farm)
    }

    def minutes(block_id: uuid.UUID, task: str) -> float | None:
        return told.get(block_id, {}).get(task, told.get(None, {}).get(task))

    return minutes


def _walk(work: Work) -> tuple[Any, ...]:
    case = work.case
    return (case.block_name, case.block_id, case.row_number, case.place, case.cordon, TASKS.index(work.task.code))


def _urgency(work: Work) -> tuple[Any, ...]:
    """Put what is longest overdue first, then what was noticed first."""
    return (-work.task.overdue, work.case.noticed_on, *_walk(work))


def _task(work: Work) -> tuple[Any, ...]:
    return (TASKS.index(work.task.code), *_walk(work))


_KEYS: Final = {WALKING: _walk, URGENCY: _urgency, TASK: _task}


@dataclass(frozen=True)
class Effort:
    """How much a list asks for: tasks, the vines that they are on, hours where the farm said so, and tasks without."""

    count: int
    vines: int
    hours: float | None
    without_minutes: int


def effort_of(works: Iterable[Work]) -> Effort:
    """Add up a list."""
    listed = list(works)
    known = [work.minutes for work in listed if work.minutes is not None]
    vines = {work.case.vine_id for work in listed}
    hours = round(sum(known) / 60, 6) if known else None
    return Effort(len(listed), len(vines), hours, len(listed) - len(known))


def effort_by(works: Iterable[Work], part: Callable[[Work], Any]) -> list[tuple[Any, Effort]]:
    """Add up each part of a list, in the order of the parts."""
    parts: dict[Any, list[Work]] = {}
    for work in works:
        parts.setdefault(part(work), []).append(work)
    return [(name, effort_of(parts[name])) for name in sorted(parts)]
