"""Cancel work for a program that is not wanted any more, and try some again that failed or was cancelled."""

from __future__ import annotations

import uuid
from datetime import datetime

from django.db import connection, transaction
from django.db.models.functions import Coalesce, Now

from balance.program_work.leases import TASKS, rows_of
from balance.program_work.models import ProgramWork
from records.access import Caller
from records.errors import Conflict, NotFound
from records.models import Program
from records.models.jobs import JobState
from records.services.cancelling import MOST_IN_ALL
from records.services.jobs import MOST_ATTEMPTS
from records.waking import wake_for


def cancel(kind: type[ProgramWork], program: Program, work_id: uuid.UUID) -> None:
    """Cancel work at once if it waits or its worker is gone, else ask its worker to stop; again changes nothing.

    Raises
    ------
    NotFound
        The program has no such work.
    Conflict
        It has ended already.
    """
    work = _held(kind, program, work_id)
    if work.state in {JobState.SUCCEEDED, JobState.FAILED}:
        raise Conflict(f"It has ended already: it {work.state}. There is nothing left to cancel.")
    if work.state == JobState.CANCELLED:
        return
    this = rows_of(kind).filter(pk=work_id)
    this.update(cancel_asked_at=Coalesce("cancel_asked_at", Now()))
    if work.state == JobState.QUEUED or work.leased_until <= _now():
        this.update(state=JobState.CANCELLED, failure="", finished_at=Now())


def retry(kind: type[ProgramWork], caller: Caller, program: Program, work_id: uuid.UUID) -> None:
    """Let work that failed or was cancelled be tried again, in the name of whoever asks; else it is left as it is.

    Raises
    ------
    NotFound
        The program has no such work.
    Conflict
        It has succeeded, or is still being stopped.
    """
    work = _held(kind, program, work_id)
    if work.state == JobState.SUCCEEDED:
        raise Conflict("It has succeeded and stays as it was made. Ask for a new one to have it made anew.")
    if work.state == JobState.RUNNING and work.cancel_asked_at is not None:
        raise Conflict("It is being cancelled. Try it again once it is.", retry_after="1")
    if work.state not in {JobState.FAILED, JobState.CANCELLED}:
        return
    from_here = -(-work.attempts // MOST_ATTEMPTS) * MOST_ATTEMPTS
    if from_here > MOST_IN_ALL:
        raise Conflict("It was tried again too often. Ask for a new one.")
    rows_of(kind).filter(pk=work_id).update(
        state=JobState.QUEUED, attempts=from_here, progress_done=0, progress_total=None, failure="",
        cancel_asked_at=None, finished_at=None, leased_until=Now(), asked_by=caller.person,
        request_id=caller.request_id,
    )  # fmt: skip
    transaction.on_commit(lambda: wake_for(TASKS[kind], work_id))


def _held(kind: type[ProgramWork], program: Program, work_id: uuid.UUID) -> ProgramWork:
    rows = rows_of(kind).filter(program=program, pk=work_id)
    columns = ("state", "attempts", "cancel_asked_at", "leased_until")
    work: ProgramWork | None = rows.only(*columns).select_for_update(no_key=True, of=("self",)).first()
    if work is None:
        raise NotFound
    return work


def _now() -> datetime:
    """Give the time by the database's clock, which leases go by."""
    with connection.cursor() as cursor:
        cursor.execute("SELECT statement_timestamp()")
        (now,) = cursor.fetchone()
    found: datetime = now
    return found
