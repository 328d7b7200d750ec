"""A person's wish to be made a season report every year on a day of the farm's own calendar.

No clock ticks for a schedule.  Each keeps one job that is not due before that day, and the job's ticket is the alarm:
the sweeper, which looks for tickets every ten seconds, wakes a worker for it.  The job asks for the report of the
season that has ended by then and notes the job of the next year, both in one transaction, so that a job that is
carried out twice asks once.  The schedule names its job: a job that no schedule names any more has nothing to do.

It works in the name of whoever wished for it.  When their role or consent ends, the job is refused as any other, and
no further one is noted; a change of the schedule, once they may read again, sets it going anew.
"""

from __future__ import annotations

import uuid
from collections.abc import Iterator, Mapping
from datetime import date, datetime
from typing import Any, Final
from zoneinfo import ZoneInfo

from django.db import IntegrityError, transaction
from django.db.models import F, QuerySet
from django.db.models.functions import Now
from django.utils import timezone

from balance.models import ReportSchedule
from balance.reports import yearly
from balance.reports.asking import ask_for_report
from records.access import Caller, OpenFarm, Right, enter, hold, open_farm, open_for_work
from records.errors import AlreadyRecorded, IdUnavailable, NotFound, Stale
from records.models import Farm, Job
from records.models.jobs import JobState
from records.services import jobs
from records.services.cancelling import BY_ITSELF, withdraw_job
from records.services.storing import Stored, change, constraint_of, create_once

KIND: Final = "scheduled_report"
_OVER: Final = (JobState.FAILED, JobState.CANCELLED)


def schedules_of(opened: OpenFarm) -> QuerySet[ReportSchedule]:
    """Give the caller's own schedules of the open farm; those of others are nobody else's business."""
    of_farm: QuerySet[ReportSchedule] = ReportSchedule.objects.for_farm(opened.farm)
    return of_farm.filter(person=opened.caller.person).select_related("job")


def schedule_of(opened: OpenFarm, schedule_id: uuid.UUID) -> ReportSchedule:
    """Give one of the caller's own schedules."""
    schedule = schedules_of(opened).filter(pk=schedule_id).first()
    if schedule is None:
        raise NotFound
    return schedule


def make_schedule(opened: OpenFarm, schedule_id: uuid.UUID | None, said: Mapping[str, Any]) -> Stored[ReportSchedule]:
    """Wish for a report every year; without a day, on the one after the season's end. The same wish again is one.

    Raises
    ------
    AlreadyRecorded
        The caller has a schedule on this farm; the data carries it.
    IdUnavailable
        The id is that of somebody else's.
    """
    opened.require(Right.READ)
    hold(opened)  # who sends twice at once gets one job
    month, day = yearly.SEASON_ENDS_ON[opened.farm.hemisphere]
    columns = {"person_id": opened.caller.person.pk, "month": month, "day": day, **said}
    known = ReportSchedule.objects.for_farm(opened.farm).filter(pk=schedule_id).first() if schedule_id else None
    if known is not None and known.person_id != opened.caller.person.pk:
        raise IdUnavailable("This id cannot be used. Send another one.")
    alarm: dict[str, Any] = {} if known else _alarm(opened.farm, columns["month"], columns["day"], opened.caller.person)
    try:
        with transaction.atomic():
            stored = create_once(ReportSchedule, opened.farm, schedule_id, columns, provenance=alarm)
    except IntegrityError as error:
        if constraint_of(error) != "report_schedule_once_a_person":
            raise
        raise AlreadyRecorded(
            "You have a schedule on this farm. Change that one: send PATCH with If-Match.",
            current=schedules_of(opened).get(),
        ) from error
    return Stored(schedule_of(opened, stored.row.pk), created=stored.created)


def change_schedule(
    opened: OpenFarm, schedule_id: uuid.UUID, said: Mapping[str, Any], *, version: int | None
) -> ReportSchedule:
    """Change a schedule; another day, or one that had ended, gets a new alarm, and the old one does nothing.

    Raises
    ------
    Stale
        The schedule is at another version.
    """
    before = _held(opened, schedule_id)
    changed = change(ReportSchedule, opened.farm, schedule_id, said, version=version)
    another_day = (changed.month, changed.day) != (before.month, before.day)
    if another_day or _is_over(before.job):
        _withdraw(before)
        alarm = _alarm(opened.farm, changed.month, changed.day, opened.caller.person)
        if changed.version == before.version:
            alarm |= {"version": F("version") + 1, "changed_at": Now()}
        ReportSchedule.objects.for_farm(opened.farm).filter(pk=schedule_id).update(**alarm)
    return schedule_of(opened, schedule_id)


def remove_schedule(opened: OpenFarm, schedule_id: uuid.UUID, *, version: int | None) -> None:
    """Take a schedule away; reports that it asked for stay.

    Raises
    ------
    Stale
        The schedule is at another version.
    """
    schedule = _held(opened, schedule_id)
    if version is not None and schedule.version != version:
        detail = f"The schedule is at version {schedule.version}, not {version}. Read it again."
        raise Stale(detail, current=schedule)
    ReportSchedule.objects.for_farm(opened.farm).filter(pk=schedule_id).delete()
    _withdraw(schedule)


def why_over(schedule: ReportSchedule) -> str:
    """Give why nothing more is made by a schedule; nothing where it stands."""
    job = schedule.job
    return (job.failure or job.state) if job is not None and _is_over(job) else ""


def season_over_on(farm: Farm, day: date) -> int:
    """Give the newest harvest year that is over on a day of the farm's calendar."""
    return yearly.season_over_on(farm.hemisphere, day)


def next_day(farm: Farm, month: int, day: int, after: datetime) -> date:
    """Give the first such day on the farm whose hour lies after an instant."""
    return yearly.next_time(month, day, ZoneInfo(farm.time_zone), after).date()


def carry_out(farm_id: uuid.UUID, job_id: uuid.UUID) -> Iterator[jobs.Progress]:
    """Ask for the report that is due, and note the job of the next year; nothing, if no schedule names this job."""
    with transaction.atomic():
        open_for_work(farm_id)
        job: Job = Job.objects.for_farm(farm_id).select_related("asked_by").get(pk=job_id)
        named = ReportSchedule.objects.for_farm(farm_id).select_for_update(of=("self",)).filter(job_id=job_id)
        schedule: ReportSchedule | None = named.first()
        if schedule is not None and job.asked_by is not None:
            jobs.require_asker(job)
            caller = Caller(job.asked_by, request_id=job.request_id)
            enter(caller)
            _ask(open_farm(caller, farm_id), schedule)
    yield 1, 1


def _ask(opened: OpenFarm, schedule: ReportSchedule) -> None:
    farm = opened.farm
    # The same wish for the same day is the same report, whoever else asks for one at this moment.
    report_id = uuid.uuid5(schedule.pk, schedule.next_on.isoformat())
    ask_for_report(opened, report_id, season_over_on(farm, schedule.next_on), schedule.units, scheduled=True)
    # A worker's clock that is late must not find the same day again.
    after = max(timezone.now(), _at(farm, schedule.next_on))
    alarm = _alarm(farm, schedule.month, schedule.day, opened.caller.person, after)
    written = {**alarm, "version": F("version") + 1, "changed_at": Now()}
    ReportSchedule.objects.for_farm(farm).filter(pk=schedule.pk).update(**written)


def _alarm(farm: Farm, month: int, day: int, person: Any, after: datetime | None = None) -> dict[str, Any]:
    """Note the job of the next such day; gives the columns of a schedule that say so."""
    following = next_day(farm, month, day, after or timezone.now())
    job = jobs.queue_for_later(farm.pk, KIND, _at(farm, following), person)
    return {"next_on": following, "job_id": job.pk}


def _at(farm: Farm, day: date) -> datetime:
    return yearly.at_its_hour(day, ZoneInfo(farm.time_zone))


def _held(opened: OpenFarm, schedule_id: uuid.UUID) -> ReportSchedule:
    schedule = schedules_of(opened).select_for_update(of=("self",)).filter(pk=schedule_id).first()
    if schedule is None:
        raise NotFound
    return schedule


def _is_over(job: Job | None) -> bool:
    return job is None or job.state in _OVER


def _withdraw(schedule: ReportSchedule) -> None:
    if schedule.job_id is not None:
        withdraw_job(schedule.farm_id, schedule.job_id)


jobs.KINDS[KIND] = carry_out
BY_ITSELF[KIND] = "A schedule asked for this job. Change or delete the schedule instead."
