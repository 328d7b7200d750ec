"""What the cases of a farm ask for in one winter or summer: each task with its vine, its reason and its urgency."""

from __future__ import annotations

import uuid
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import date
from typing import Any, Final

from balance.cordons.models import CordonCase, CordonSettings
from balance.formulas.cordons.reminders import SAYS, SUMMER, WINTER, Task, tasks_of
from balance.formulas.cordons.replacement_steps import BEARING, GIVEN_UP
from records.access import OpenFarm
from records.errors import NotValid
from records.models import Block, Farm, Vine
from records.models.farms import Hemisphere

#: More cases than this are asked for block by block.
MOST_CASES: Final = 5_000
#: A case whose arm bears is looked at for its old arm this many seasons.
SEASONS_AFTER_BEARING: Final = 2
#: The months between the fall of the leaves and budburst: common practice, no source.
_WINTER_MONTHS: Final = {Hemisphere.NORTH: {11, 12, 1, 2, 3, 4}, Hemisphere.SOUTH: {5, 6, 7, 8, 9, 10}}


@dataclass(frozen=True)
class Work:
    """One task on one vine, in the order in which it is walked to."""

    case: CordonCase
    block: Block
    vine: Vine
    task: Task
    minutes: float | None

    @property
    def sentence(self) -> str:
        return SAYS[self.task.code][0]

    @property
    def source(self) -> str:
        return SAYS[self.task.code][1]

    @property
    def reason(self) -> str:
        """Say what stands and since when, so that the list can be read without the case."""
        what = "whole vine" if not self.case.cordon else f"{self.case.cordon.replace('_', ' ')} cordon"
        told = f"{what}: {self.case.get_step_display()} since {self.case.step_on}"
        late = self.task.overdue
        return told if not late else f"{told}; {late} season{'s' if late > 1 else ''} overdue"


@dataclass(frozen=True)
class Wanted:
    """Which work is asked for: a season's winter or summer, on which block or row, in which order."""

    season: int
    part_of_year: str
    block_id: uuid.UUID | None = None
    row_number: int | None = None
    by_urgency: bool = False


def part_of_year_of(farm: Farm, day: date) -> str:
    """Tell whether a day lies in the winter or the summer of the farm's hemisphere."""
    return WINTER if day.month in _WINTER_MONTHS[Hemisphere(farm.hemisphere)] else SUMMER


def worklist(opened: OpenFarm, wanted: Wanted) -> list[Work]:
    """Give the work that the farm's cases ask for.

    Raises
    ------
    NotValid
        There are too many cases to be answered at once.
    """
    cases = _cases(opened, wanted)
    vines = Vine.objects.for_farm(opened.farm).in_bulk([case.vine_id for case in cases])
    blocks = Block.objects.for_farm(opened.farm).in_bulk({case.block_id for case in cases})
    minutes = _minutes(opened)
    found = [
        Work(case, blocks[case.block_id], vines[case.vine_id], task, minutes(case.block_id, task.code))
        for case in cases
        for task in _tasks(opened.farm, case, wanted)
    ]
    if wanted.row_number is not None:
        found = [work for work in found if work.vine.row_number == wanted.row_number]
    return sorted(found, key=_urgency if wanted.by_urgency else _walk)


def _cases(opened: OpenFarm, wanted: Wanted) -> list[CordonCase]:
    rows = CordonCase.objects.for_farm(opened.farm).filter(withdrawn_at=None).exclude(step=GIVEN_UP)
    rows = rows.exclude(step=BEARING, step_season__lt=wanted.season - SEASONS_AFTER_BEARING)
    rows = rows.filter(noticed_on__year__lte=wanted.season)
    if wanted.block_id is not None:
        rows = rows.filter(block_id=wanted.block_id)
    cases = list(rows.order_by("id")[: MOST_CASES + 1])
    if len(cases) > MOST_CASES:
        raise NotValid.at(
            "block",
            code="too_many_cases",
            detail=f"More than {MOST_CASES:,} cases ask for work; ask block by block.",
        )
    return cases


def _tasks(farm: Farm, case: CordonCase, wanted: Wanted) -> Iterable[Task]:
    step_in = part_of_year_of(farm, case.step_on)
    return tasks_of(
        case.step, case.step_season, case.laid_down_season, wanted.season, wanted.part_of_year, step_in=step_in
    )


def _minutes(opened: OpenFarm) -> Any:
    """Give how long a task takes on a block: by its own settings, else by the farm's; None where nobody said."""
    told: dict[uuid.UUID | None, dict[str, float]] = {
        settings.block_id: settings.minutes_a_task for settings in CordonSettings.objects.for_farm(opened.farm)
    }

    def minutes(block_id: uuid.UUID, task: str) -> float | None:
        return told.get(block_id, {}).get(task, told.get(None, {}).get(task))

    return minutes


def _walk(work: Work) -> tuple[Any, ...]:
    return (
        work.block.name,
        str(work.block.pk),
        work.vine.row_number,
        work.vine.place,
        work.case.cordon,
        work.task.code,
    )


def _urgency(work: Work) -> tuple[Any, ...]:
    return (-work.task.overdue, *_walk(work))


def hours_of(works: Iterable[Work]) -> tuple[float | None, int]:
    """Give the hours that the farm's minutes make of a list, and how many tasks have none."""
    said = [work.minutes for work in works]
    known = [minutes for minutes in said if minutes is not None]
    return (sum(known) / 60 if known else None), len(said) - len(known)


def by_task(works: Iterable[Work]) -> Iterator[tuple[str, int]]:
    """Give how many tasks of each kind a list holds."""
    counts: dict[str, int] = {}
    for work in works:
        counts[work.task.code] = counts.get(work.task.code, 0) + 1
    yield from sorted(counts.items())
