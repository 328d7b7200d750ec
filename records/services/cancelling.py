"""Cancel a job that is not wanted any more, and try one again that failed or was cancelled.

A job that waits is cancelled at once.  One that runs is asked to stop and does so at its next step; whatever its
work had stored by then stays or goes as its kind says.  A retry is the same job with a ticket of its own and three
attempts more, in the name of whoever asked first; its effect stays once, because its work is safe to begin again.
"""

from __future__ import annotations

import uuid
from typing import Final

from django.db.models.functions import Coalesce, Now
from django.db.transaction import on_commit

from records.access import OpenFarm, Right
from records.errors import Conflict, NotFound
from records.models import Job, JobTicket
from records.models.jobs import JobState
from records.services.jobs import MOST_ATTEMPTS, RIGHTS, finish
from records.signals import job_ended
from records.waking import wake

#: Kinds that the service asks for itself, and what to do instead; whoever registers such a kind says so here.
BY_ITSELF: Final[dict[str, str]] = {}
_NOBODYS: Final = "The service does this by itself, so that nobody need cancel it or try it again."
#: The column of attempts counts no further than 32,767.
MOST_IN_ALL: Final = 30_000


def cancel_job(opened: OpenFarm, job_id: uuid.UUID) -> Job:
    """Cancel a job at once if it waits or its worker is gone, else ask its worker to stop; again changes nothing.

    Raises
    ------
    NotAllowed
        The caller may not ask for jobs of this kind.
    Conflict
        It has ended already, or is the service's own.
    """
    leased = _is_leased(opened.farm.pk, job_id)
    job = _held(opened, job_id)
    if job.state in {JobState.SUCCEEDED, JobState.FAILED}:
        raise Conflict(f"The job has ended already: it {job.state}. There is nothing left to cancel.")
    if job.state != JobState.CANCELLED:
        _mark_or_end(job, leased=leased)
    job.refresh_from_db()
    return job


def withdraw_job(farm_id: uuid.UUID, job_id: uuid.UUID) -> None:
    """Cancel a job of the service's own that has nothing left to do; the farm is open."""
    leased = _is_leased(farm_id, job_id)
    job = Job.objects.for_farm(farm_id).select_for_update(of=("self",)).filter(pk=job_id).first()
    if job is not None and job.state in {JobState.QUEUED, JobState.RUNNING}:
        _mark_or_end(job, leased=leased)


def retry_job(opened: OpenFarm, job_id: uuid.UUID) -> Job:
    """Let a job that failed or was cancelled be tried again; one that waits or runs is left as it is.

    Raises
    ------
    NotAllowed
        The caller may not ask for jobs of this kind.
    Conflict
        It has succeeded, is the service's own, or is still being stopped.
    """
    _is_leased(opened.farm.pk, job_id)
    job = _held(opened, job_id)
    if job.state == JobState.SUCCEEDED:
        raise Conflict("The job has succeeded. What it did is done once; ask for a new job to have it done anew.")
    if job.state == JobState.RUNNING and job.cancel_asked_at is not None:
        raise Conflict("The job is being cancelled. Try it again once it is.", retry_after="1")
    if job.state in {JobState.FAILED, JobState.CANCELLED}:
        _queue_again(opened, job)
        job.refresh_from_db()
    return job


def attempts_of(job: Job) -> int:
    """Give how often a worker took a job up since it was last asked for."""
    return 0 if job.started_at is None else (job.attempts - 1) % MOST_ATTEMPTS + 1


def _is_leased(farm_id: uuid.UUID, job_id: uuid.UUID) -> bool:
    """Hold the ticket of a job, before the job as everywhere, and tell whether a worker or a later day has it."""
    ticket = JobTicket.objects.select_for_update().filter(farm_id=farm_id, job_id=job_id).first()
    return ticket is not None and JobTicket.objects.filter(pk=ticket.pk, leased_until__gt=Now()).exists()


def _held(opened: OpenFarm, job_id: uuid.UUID) -> Job:
    job: Job | None = Job.objects.for_farm(opened.farm).select_for_update(of=("self",)).filter(pk=job_id).first()
    if job is None:
        raise NotFound
    opened.require(RIGHTS.get(job.kind, Right.READ))
    if job.kind in BY_ITSELF or job.asked_by_id is None:
        raise Conflict(BY_ITSELF.get(job.kind, _NOBODYS))
    return job


def _mark_or_end(job: Job, *, leased: bool) -> None:
    asked = {"cancel_asked_at": Coalesce("cancel_asked_at", Now()), "changed_at": Now()}
    Job.objects.for_farm(job.farm_id).filter(pk=job.pk).update(**asked)
    if job.state == JobState.QUEUED or not leased:
        finish(job, JobState.CANCELLED)
        kind = job.kind
        on_commit(lambda: job_ended.send(sender=None, kind=kind, state=str(JobState.CANCELLED)))


def _queue_again(opened: OpenFarm, job: Job) -> None:
    """Give the job a ticket, and number its attempts from the next multiple of three on (``records.services.jobs``)."""
    from_here = -(-job.attempts // MOST_ATTEMPTS) * MOST_ATTEMPTS
    if from_here > MOST_IN_ALL:
        raise Conflict("The job was tried again too often. Ask for a new one.")
    Job.objects.for_farm(job.farm_id).filter(pk=job.pk).update(
        state=JobState.QUEUED, attempts=from_here, progress_done=0, progress_total=None, failure="",
        cancel_asked_at=None, started_at=None, finished_at=None, changed_at=Now(),
        request_id=opened.caller.request_id,
    )  # fmt: skip
    JobTicket.objects.create(job_id=job.pk, farm_id=job.farm_id)
    farm_id, job_id = job.farm_id, job.pk
    on_commit(lambda: wake(farm_id, job_id))
