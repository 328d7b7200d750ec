"""Background work: the job row is the truth, the ticket says who holds it, the broker only wakes a worker.

A job is taken up by a conditional update of its ticket's lease, so that of two deliveries one does the work.  The
work renews the lease as it goes; when a worker dies, the lease runs out and the sweeper wakes another.  Work is
therefore delivered at least once and must have the same effect however often it runs.
"""

from __future__ import annotations

import logging
import uuid
from collections.abc import Callable, Iterator
from datetime import timedelta
from typing import Final

from django.db import transaction
from django.db.models import F
from django.db.models.functions import Now

from records.access import OpenFarm, open_for_work
from records.errors import NotFound, Refusal
from records.models import Job, JobTicket
from records.models.jobs import JobState
from records.waking import wake

log = logging.getLogger("vineyard.jobs")

LEASE: Final = timedelta(seconds=20)
MOST_ATTEMPTS: Final = 3
#: Done so far, and of how many; work yields this after each chunk that it has committed.
Progress = tuple[int, int]
Work = Callable[[uuid.UUID, uuid.UUID], Iterator[Progress]]
KINDS: Final[dict[str, Work]] = {}


def queue_job(opened: OpenFarm, kind: str) -> Job:
    """Note a job and its ticket in the open transaction; a worker is woken once that is committed."""
    job = Job.objects.create(farm=opened.farm, kind=kind, asked_by=opened.caller.person)
    JobTicket.objects.create(job_id=job.pk, farm_id=opened.farm.pk)
    transaction.on_commit(lambda: wake(opened.farm.pk, job.pk))
    return job


def job_of(opened: OpenFarm, job_id: uuid.UUID) -> Job:
    """Give one job of the open farm."""
    job: Job | None = Job.objects.for_farm(opened.farm).filter(pk=job_id).first()
    if job is None:
        raise NotFound
    return job


def run(farm_id: uuid.UUID, job_id: uuid.UUID, watch: Callable[[int, int], object] = lambda *_: None) -> None:
    """Take up a job and carry it out; nothing happens where another worker holds it or it is finished.

    ``watch`` is told how far the work is, after each part that is committed.
    """
    kind = _take_up(farm_id, job_id)
    if kind is None:
        return
    try:
        for done, total in KINDS[kind](farm_id, job_id):
            _note_progress(farm_id, job_id, done, total)
            watch(done, total)
    except Refusal as refusal:
        _finish(farm_id, job_id, JobState.FAILED, refusal.detail)
    except Exception:
        log.exception("job %s failed", job_id)
        _give_back(farm_id, job_id)
        raise
    else:
        _finish(farm_id, job_id, JobState.SUCCEEDED)


def sweep() -> int:
    """Wake a worker for every job whose lease has run out; give how many."""
    waiting = JobTicket.objects.filter(leased_until__lt=Now()).order_by("leased_until")[:200]
    for ticket in waiting:
        wake(ticket.farm_id, ticket.job_id)
    return len(waiting)


def _take_up(farm_id: uuid.UUID, job_id: uuid.UUID) -> str | None:
    with transaction.atomic():
        tickets = JobTicket.objects.filter(farm_id=farm_id, job_id=job_id, leased_until__lte=Now())
        if not tickets.update(leased_until=Now() + LEASE):
            return None
        open_for_work(farm_id)
        jobs = Job.objects.for_farm(farm_id).filter(pk=job_id)
        jobs.update(state=JobState.RUNNING, attempts=F("attempts") + 1, started_at=Now())
        job: Job = jobs.get()
    if job.attempts > MOST_ATTEMPTS:
        reason = f"A worker ended {MOST_ATTEMPTS} times while doing this; it is not tried again."
        _finish(farm_id, job_id, JobState.FAILED, reason)
        return None
    return job.kind


def _note_progress(farm_id: uuid.UUID, job_id: uuid.UUID, done: int, total: int) -> None:
    with transaction.atomic():
        JobTicket.objects.filter(farm_id=farm_id, job_id=job_id).update(leased_until=Now() + LEASE)
        open_for_work(farm_id)
        Job.objects.for_farm(farm_id).filter(pk=job_id).update(progress_done=done, progress_total=total)


def _finish(farm_id: uuid.UUID, job_id: uuid.UUID, state: str, failure: str = "") -> None:
    with transaction.atomic():
        open_for_work(farm_id)
        Job.objects.for_farm(farm_id).filter(pk=job_id).update(
            state=state, failure=failure, finished_at=Now(), changed_at=Now()
        )
        JobTicket.objects.filter(farm_id=farm_id, job_id=job_id).delete()


def _give_back(farm_id: uuid.UUID, job_id: uuid.UUID) -> None:
    """Let the sweeper wake another worker soon."""
    JobTicket.objects.filter(farm_id=farm_id, job_id=job_id).update(leased_until=Now() + timedelta(seconds=2))
