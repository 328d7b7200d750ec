"""A program's report of every year: a row says when the next is due, and the sweep asks for it then.

A program has no clock of its own, so its day is one of UTC.  It is asked for in the name of the lead who said so last,
and ends when they do not lead the program any more.  The id of the report follows from the row and the day, so that a
day that is met twice asks once.
"""

from __future__ import annotations

import contextlib
import uuid
from dataclasses import dataclass
from datetime import UTC
from typing import Final

from django.db import transaction
from django.db.models.functions import Now
from django.utils import timezone

from balance.models import ProgramReportSchedule
from balance.reports.programs.asking import Wanted, ask_for_program_report
from balance.reports.yearly import SEASON_ENDS_ON, next_time, season_over_on
from records.access import Caller, enter, hold_lead, open_led_program
from records.errors import Conflict, NotFound
from records.models import Program

_MOST_AT_ONCE: Final = 20
_NO_LEAD: Final = "Whoever set it does not lead the program any more. Another lead may set it again."


@dataclass(frozen=True)
class Wish:
    """When a lead wants the report; without a day, on the one after the season's end."""

    hemisphere: str
    units: str
    month: int | None = None
    day: int | None = None

    @property
    def on(self) -> tuple[int, int]:
        usual = SEASON_ENDS_ON[self.hemisphere]
        return (self.month or usual[0], self.day or usual[1])


def schedule_of(program: Program) -> ProgramReportSchedule:
    """Give the schedule of a program."""
    found = ProgramReportSchedule.objects.filter(program=program).first()
    if found is None:
        raise NotFound
    return found


def set_schedule(caller: Caller, program: Program, wish: Wish) -> tuple[ProgramReportSchedule, bool]:
    """Have the report made every year; gives the schedule, and whether there was none before."""
    month, day = wish.on
    said = {
        "hemisphere": wish.hemisphere, "units": wish.units, "month": month, "day": day, "asked_by": caller.person,
        "next_at": next_time(month, day, UTC, timezone.now()), "ended_because": "",
    }  # fmt: skip
    return ProgramReportSchedule.objects.update_or_create(
        program=program, defaults={**said, "changed_at": Now()}, create_defaults=said
    )


def remove_schedule(program: Program) -> None:
    """Take it away; reports that it asked for stay."""
    removed, _ = ProgramReportSchedule.objects.filter(program=program).delete()
    if not removed:
        raise NotFound


def ask_for_due() -> int:
    """Ask for every report that is due; give how many schedules were due."""
    due = ProgramReportSchedule.objects.filter(next_at__lte=Now()).order_by("next_at").values_list("pk", flat=True)
    found = list(due[:_MOST_AT_ONCE])
    for schedule_id in found:
        with transaction.atomic():
            _ask(schedule_id)
    return len(found)


def _ask(schedule_id: uuid.UUID) -> None:
    due = ProgramReportSchedule.objects.filter(pk=schedule_id, next_at__lte=Now())
    schedule = due.select_for_update(of=("self",), skip_locked=True).first()
    if schedule is None or schedule.next_at is None:
        return  # another sweep is at it, or was
    this = ProgramReportSchedule.objects.filter(pk=schedule_id)
    if schedule.asked_by is None or not hold_lead(schedule.program_id, schedule.asked_by):
        this.update(next_at=None, ended_because=_NO_LEAD, changed_at=Now())
        return
    caller = Caller(schedule.asked_by)
    enter(caller)
    program = open_led_program(caller, schedule.program_id)
    report_id = uuid.uuid5(schedule.pk, schedule.next_at.date().isoformat())
    season = season_over_on(schedule.hemisphere, schedule.next_at.date())
    with contextlib.suppress(Conflict):  # a lead asked for the same a moment ago
        ask_for_program_report(caller, program, Wanted(season, schedule.units, report_id))
    after = max(timezone.now(), schedule.next_at)
    this.update(next_at=next_time(schedule.month, schedule.day, UTC, after), changed_at=Now())
