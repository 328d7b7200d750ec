"""Jobs about one row each: to send a message, to mail a report.

A job carries no parameters, and none is needed here: its id is that of the row, counted on by the number of the try.
So a try is queued once, whoever queues it, and a worker finds the row by the job's id alone.
"""

from __future__ import annotations

import uuid
from datetime import timedelta
from typing import Any, Final

from django.db import transaction
from django.db.models import QuerySet
from django.db.models.functions import Now

from records.models import Person
from records.services.jobs import queue_for_later
from records.waking import wake

NOW: Final = timedelta(0)
#: More tries than this are never made of one row; two ids that the service gave lie farther apart than that.
MOST_TRIES: Final = 1_000


def job_of_try(row_id: uuid.UUID, number: int) -> uuid.UUID:
    """Give the id of the job that makes a try, counted from 1."""
    return uuid.UUID(int=row_id.int + number)


def queue_try(
    farm_id: uuid.UUID,
    kind: str,
    row_id: uuid.UUID,
    number: int,
    *,
    pause: timedelta = NOW,
    asked_by: Person | None = None,
) -> None:
    """Queue a try in the open transaction: after a pause, by the clock of the database, or for now."""
    job_id = job_of_try(row_id, number)
    queue_for_later(farm_id, kind, Now() + pause, asked_by=asked_by, id=job_id)
    if pause == NOW:
        transaction.on_commit(lambda: wake(farm_id, job_id))


def row_of_try(rows: QuerySet[Any], job_id: uuid.UUID, *, column: str = "pk") -> tuple[Any, int] | None:
    """Give the row that a job is about, and the number of its try; ``column`` holds the id that was counted on."""
    nearest = {f"{column}__lt": job_id, f"{column}__gte": uuid.UUID(int=job_id.int - MOST_TRIES)}
    row = rows.filter(**nearest).order_by(f"-{column}").first()
    if row is None:
        return None
    number = job_id.int - getattr(row, column).int
    return row, number
