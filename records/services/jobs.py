"""Background work: the job row is the truth, the ticket says who holds it, the broker only wakes a worker.

A job is taken up by a conditional update of its ticket's lease, so that of two deliveries one does the work.  The
work renews the lease as it goes; when a worker dies, the lease runs out and the sweeper wakes another.  Work is
therefore delivered at least once and must have the same effect however often it runs.  A worker that was held up
beyond its lease finds at its next step that another took the job over, and stops without a word on its state.

A job works on behalf of whoever asked for it.  When their role or consent ends, the job ends with it: that is looked
at when a worker takes it up, at every step, and when it is delivered.  So is whether somebody asked to cancel it.

Attempts are numbered through and never used twice, so that a worker that was held up cannot take a later attempt for
its own.  Each time somebody asks for the job it has three: the first after a retry is the next after a multiple of
three (see ``records.services.cancelling``).
"""

from __future__ import annotations

import logging
import uuid
from collections.abc import Callable, Iterator
from contextlib import suppress
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any, Final

from django.db import transaction
from django.db.models import F, QuerySet
from django.db.models.expressions import Combinable
from django.db.models.functions import Now

from records.access import OpenFarm, Right, open_for_work, require_still
from records.errors import NotFound, Refusal
from records.models import Job, JobTicket, Person
from records.models.jobs import JobState
from records.signals import job_ended, job_taken_up
from records.waking import wake

log = logging.getLogger("vineyard.jobs")

LEASE: Final = timedelta(seconds=20)
#: Each time that somebody asks for it.
MOST_ATTEMPTS: Final = 3
#: What failed once waits before it is tried again, and longer each time; the sweeper looks every ten seconds.
FIRST_PAUSE: Final = timedelta(seconds=2)
LONGER_EACH_TIME: Final = 4
#: Done so far, and of how many; work yields this after each chunk that it has committed.
Progress = tuple[int, int]
Work = Callable[[uuid.UUID, uuid.UUID], Iterator[Progress]]
KINDS: Final[dict[str, Work]] = {}
#: What whoever asks for a kind of job must be allowed until it is delivered; to read, where nothing is said.
RIGHTS: Final[dict[str, Right]] = {}
#: What else is noted where a job of a kind ends in vain, in the same transaction; told farm, job, its state and why.
ENDED_IN_VAIN: Final[dict[str, Callable[[uuid.UUID, uuid.UUID, str, str], object]]] = {}
#: What takes away what an unfinished job of a kind left, in the transaction that says it is over; most leave nothing,
#: or what they leave stands by itself.
LEFT_BEHIND: Final[dict[str, Callable[[uuid.UUID, uuid.UUID], object]]] = {}
_TRIED: Final = f"It was tried {MOST_ATTEMPTS} times and came to no end; it is not tried again."


def queue_job(opened: OpenFarm, kind: str) -> Job:
    """Note a job and its ticket in the open transaction; a worker is woken once that is committed."""
    caller = opened.caller
    job = Job.objects.create(farm=opened.farm, kind=kind, asked_by=caller.person, request_id=caller.request_id)
    JobTicket.objects.create(job_id=job.pk, farm_id=opened.farm.pk)
    transaction.on_commit(lambda: wake(opened.farm.pk, job.pk))
    return job


def queue_for_later(
    farm_id: uuid.UUID, kind: str, when: datetime | Combinable, asked_by: Person | None = None, **more: Any
) -> Job:
    """Note a job that is not due before a certain time, in the open transaction; the sweeper wakes a worker then."""
    job = Job.objects.create(farm_id=farm_id, kind=kind, asked_by=asked_by, **more)
    JobTicket.objects.create(job_id=job.pk, farm_id=farm_id, leased_until=when)
    return job


def job_of(opened: OpenFarm, job_id: uuid.UUID) -> Job:
    """Give one job of the open farm."""
    job: Job | None = Job.objects.for_farm(opened.farm).filter(pk=job_id).first()
    if job is None:
        raise NotFound
    return job


@dataclass(frozen=True)
class _Held:
    """A job as one worker holds it; the number of the attempt tells this holder from the one after it."""

    farm_id: uuid.UUID
    job_id: uuid.UUID
    kind: str
    attempt: int


def require_asker(job: Job) -> None:
    """Refuse to go on once whoever asked for the job may no longer; its farm is open in this transaction.

    Work calls it in each transaction in which it stores something.

    Raises
    ------
    NotAllowed
        Their role or their consent has ended.
    """
    if job.asked_by is not None:
        require_still(job.farm_id, job.asked_by, RIGHTS.get(job.kind, Right.READ))


class _Cancelled(Exception):
    """Somebody asked to cancel the job, and there is work left that need not be done."""


class _TakenOver(Exception):
    """The lease ran out and another worker holds the job, or the farm was erased and the job with it."""


def run(farm_id: uuid.UUID, job_id: uuid.UUID, watch: Callable[[int, int], object] = lambda *_: None) -> None:
    """Take up a job and carry it out; nothing happens where another worker holds it or it is finished.

    ``watch`` is told how far the work is, after each part that is committed.
    """
    held = _take_up(farm_id, job_id)
    if held is None:
        return
    try:
        _note_progress(held)
        for done, total in KINDS[held.kind](farm_id, job_id):
            _note_progress(held, progress_done=done, progress_total=total)
            watch(done, total)
        _succeed(held)
    except _TakenOver:
        log.warning("job %s: attempt %d is not its holder any more and stops", job_id, held.attempt)
    except _Cancelled:
        _end(held, JobState.CANCELLED)
    except Refusal as refusal:
        _end(held, JobState.FAILED, refusal.detail)
    except Exception:
        log.exception("job %s failed", job_id)
        _give_back(held)
        raise


def sweep() -> int:
    """Wake a worker for every job whose lease has run out; give how many."""
    waiting = JobTicket.objects.filter(leased_until__lt=Now()).order_by("leased_until")[:200]
    for ticket in waiting:
        wake(ticket.farm_id, ticket.job_id)
    return len(waiting)


def _take_up(farm_id: uuid.UUID, job_id: uuid.UUID) -> _Held | None:
    with transaction.atomic():
        tickets = JobTicket.objects.filter(farm_id=farm_id, job_id=job_id, leased_until__lte=Now())
        if not tickets.update(leased_until=Now() + LEASE):
            return None
        open_for_work(farm_id)
        jobs = Job.objects.for_farm(farm_id).filter(pk=job_id)
        job: Job = jobs.select_for_update().get()
        ended = _over_already(job)
        if ended:
            finish(job, ended, _TRIED if ended == JobState.FAILED else "")
        else:
            jobs.update(state=JobState.RUNNING, attempts=F("attempts") + 1, started_at=Now())
    job_taken_up.send(sender=None, request_id=job.request_id)
    if ended:
        job_ended.send(sender=None, kind=job.kind, state=str(ended))
        return None
    return _Held(farm_id, job_id, job.kind, job.attempts + 1)


def _over_already(job: Job) -> JobState | None:
    """Give how a job ends that is not to be taken up again, because its last worker was to stop or was the third."""
    if job.state != JobState.RUNNING:
        return None
    if job.cancel_asked_at is not None:
        return JobState.CANCELLED
    return None if job.attempts % MOST_ATTEMPTS else JobState.FAILED


def _note_progress(held: _Held, **progress: int) -> None:
    with transaction.atomic():
        _ticket(held).update(leased_until=Now() + LEASE)
        _update(held, changed_at=Now(), **progress)
        job = _job(held)
        require_asker(job)
    all_done = bool(progress) and progress["progress_done"] >= progress["progress_total"]
    if job.cancel_asked_at is not None and not all_done:
        raise _Cancelled


def _succeed(held: _Held) -> None:
    with transaction.atomic():
        _ticket(held).delete()
        _update(held, state=JobState.SUCCEEDED, failure="", finished_at=Now(), changed_at=Now())
        require_asker(_job(held))
    job_ended.send(sender=None, kind=held.kind, state=str(JobState.SUCCEEDED))


def _end(held: _Held, state: JobState, failure: str = "") -> None:
    """Say that the job is over without success, unless another worker holds it."""
    with suppress(_TakenOver):
        with transaction.atomic():
            _ticket(held).delete()
            _update(held, changed_at=Now())
            finish(_job(held), state, failure)
        job_ended.send(sender=None, kind=held.kind, state=str(state))


def finish(job: Job, state: str, failure: str = "") -> None:
    """Write that a job is over without success, in the open transaction; what it left half done goes with it."""
    JobTicket.objects.filter(farm_id=job.farm_id, job_id=job.pk).delete()
    written = {"state": state, "failure": failure, "finished_at": Now(), "changed_at": Now()}
    Job.objects.for_farm(job.farm_id).filter(pk=job.pk).update(**written)
    if job.kind in LEFT_BEHIND:
        LEFT_BEHIND[job.kind](job.farm_id, job.pk)
    if job.kind in ENDED_IN_VAIN:
        ENDED_IN_VAIN[job.kind](job.farm_id, job.pk, state, failure)


def _give_back(held: _Held) -> None:
    """Let the sweeper wake another worker after a pause, unless one has the job already or it was tried enough."""
    tried = (held.attempt - 1) % MOST_ATTEMPTS + 1
    if tried == MOST_ATTEMPTS:
        _end(held, JobState.FAILED, _TRIED)
        return
    with suppress(_TakenOver), transaction.atomic():
        _ticket(held).update(leased_until=Now() + FIRST_PAUSE * LONGER_EACH_TIME ** (tried - 1))
        _update(held, changed_at=Now())


def _update(held: _Held, **columns: Any) -> None:
    """Write on the job in the open transaction, if this worker still holds it; undo the transaction if not.

    The ticket is always written before the job, so that nobody waits for each other in a ring.

    Raises
    ------
    _TakenOver
        Another worker took the job up since, or there is no such farm any more.
    """
    try:
        open_for_work(held.farm_id)
    except NotFound as gone:
        raise _TakenOver from gone
    jobs = Job.objects.for_farm(held.farm_id).filter(pk=held.job_id, attempts=held.attempt, state=JobState.RUNNING)
    if not jobs.update(**columns):
        raise _TakenOver


def _job(held: _Held) -> Job:
    job: Job = Job.objects.for_farm(held.farm_id).select_related("asked_by").get(pk=held.job_id)
    return job


def _ticket(held: _Held) -> QuerySet[JobTicket]:
    return JobTicket.objects.filter(farm_id=held.farm_id, job_id=held.job_id)
