"""What Celery may call: shells of one line around the jobs."""

from __future__ import annotations

import uuid

from celery import shared_task

from records.api import imports as _files  # noqa: F401 - registers its kind of job
from records.services import answers, jobs
from records.services import exports as _exports  # noqa: F401 - registers its kinds of job
from records.services import imports as _imports  # noqa: F401 - registers its kind of job


@shared_task(soft_time_limit=600, max_retries=0)
def run_job(farm_id: str, job_id: str) -> None:
    """Carry out one job."""
    jobs.run(uuid.UUID(farm_id), uuid.UUID(job_id))


# A sweep that nobody carried out before the next is due is not worth carrying out: after a day without a worker,
# thousands of them would wake everybody for every job.
@shared_task(soft_time_limit=30, expires=10)
def sweep_jobs() -> int:
    """Wake workers for jobs whose worker died or was never woken."""
    return jobs.sweep()


@shared_task(soft_time_limit=300, expires=3_600)
def forget_old_answers() -> int:
    """Remove answers that were kept for repeats long enough."""
    return answers.forget_old_answers()
