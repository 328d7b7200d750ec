"""What the replacement of cordons asks for now, counted by block: by each farm's own date, of many farms at once.

The cases are counted by step and season in the database; ``balance.formulas.cordons.reminders`` says what each asks
for, as it does for the worklist.
"""

from __future__ import annotations

import uuid
from collections import Counter, defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from typing import Any, Final

from django.db.backends.base.base import BaseDatabaseWrapper

from balance.cordons.parts_of_year import part_now, part_of_year_of
from balance.cordons.worklist import SEASONS_AFTER_BEARING
from balance.formulas.cordons.reminders import TASKS, tasks_of
from balance.formulas.cordons.replacement_steps import BEARING, GIVEN_UP, OPEN, STEPS
from balance.missing_vines import event_day, newest_first
from records.models import Farm

#: A vine that is missing, or younger than what was noticed on it, asks for no work.
_CASES: Final = f"""
    SELECT c.farm_id, c.block_id, c.step, c.step_season, c.laid_down_season, extract(month FROM c.step_on)::int,
           count(*), count(*) FILTER (WHERE plant.missing IS NOT TRUE
                                      AND (plant.planted_on IS NULL OR plant.planted_on <= c.noticed_on))
    FROM unnest(%(farms)s::uuid[], %(seasons)s::int[], %(zones)s::text[]) AS asked(farm_id, season, zone)
    JOIN cordon_case c ON c.farm_id = asked.farm_id AND c.withdrawn_at IS NULL
    LEFT JOIN LATERAL (
        SELECT (array_agg(event ORDER BY {newest_first("asked.zone")}))[1] = 'missing' AS missing,
               max({event_day("asked.zone")})
                   FILTER (WHERE event IN ('planted', 'replanted')) AS planted_on
        FROM vine_event
        WHERE farm_id = c.farm_id AND vine_id = c.vine_id AND season <= asked.season AND withdrawn_at IS NULL
          AND c.step <> '{GIVEN_UP}'
    ) AS plant ON true
    WHERE %(block)s::uuid IS NULL OR c.block_id = %(block)s
    GROUP BY 1, 2, 3, 4, 5, 6
"""  # noqa: S608 - joined from constants


@dataclass
class Work:
    """The cases of a block as they stand now, and the tasks that they ask for in this part of the year.

    ``cases`` counts by step; ``due`` and ``overdue`` count by task, and what is overdue is among what is due.
    """

    cases: Counter[str] = field(default_factory=Counter)
    due: Counter[str] = field(default_factory=Counter)
    overdue: Counter[str] = field(default_factory=Counter)

    @property
    def open_cases(self) -> int:
        return sum(self.cases[step] for step in OPEN)


def work_of(
    within: BaseDatabaseWrapper, farms: Sequence[Farm], block: uuid.UUID | None = None
) -> Mapping[tuple[uuid.UUID, uuid.UUID], Work]:
    """Give, by farm and block, the cases and what they ask for; a block without a case has none of either."""
    now = {farm.pk: part_now(farm) for farm in farms}
    by_id = {farm.pk: farm for farm in farms}
    found: defaultdict[tuple[uuid.UUID, uuid.UUID], Work] = defaultdict(Work)
    asked: dict[str, Any] = {
        "farms": list(now),
        "seasons": [each.season for each in now.values()],
        "zones": [by_id[farm].time_zone for farm in now],
        "block": block,
    }
    with within.cursor() as cursor:
        cursor.execute(_CASES, asked)
        rows = cursor.fetchall()
    for farm_id, block_id, step, step_season, laid_down, month, count, standing in rows:
        work, here = found[farm_id, block_id], now[farm_id]
        work.cases[step] += count
        if step == GIVEN_UP or (step == BEARING and step_season < here.season - SEASONS_AFTER_BEARING):
            continue
        step_in = part_of_year_of(by_id[farm_id], date(2000, month, 1))
        for task in tasks_of(step, step_season, laid_down, here.season, here.part, step_in=step_in):
            work.due[task.code] += standing
            work.overdue[task.code] += standing if task.overdue else 0
    return found


def together(works: Iterable[Work]) -> Work:
    """Add up the work of several blocks."""
    total = Work()
    for work in works:
        total.cases += work.cases
        total.due += work.due
        total.overdue += work.overdue
    return total


def in_order(work: Work) -> tuple[list[tuple[str, int]], list[tuple[str, int, int]]]:
    """Give the cases by step and the tasks with what is due and overdue, each in the order of the work."""
    cases = [(step, work.cases[step]) for step in STEPS if work.cases[step]]
    return cases, [(task, work.due[task], work.overdue[task]) for task in TASKS if work.due[task]]
