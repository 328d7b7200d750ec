"""What Celery may call: shells of one line around the jobs."""

from __future__ import annotations

import uuid
from typing import Final

from celery import shared_task

from records.api import imports as _files  # noqa: F401 - registers its kind of job
from records.services import answers, jobs
from records.services import exports as _exports  # noqa: F401 - registers its kinds of job
from records.services import imports as _imports  # noqa: F401 - registers its kind of job
from records.waking import first_within


@shared_task(soft_time_limit=600, max_retries=0)
def run_job(farm_id: str, job_id: str) -> None:
    """Carry out one job."""
    jobs.run(uuid.UUID(farm_id), uuid.UUID(job_id))


#: A sweep is due every ten seconds.
SWEPT_WITHIN_SECONDS: Final = 5


# After a day without a worker thousands of sweeps wait, of which one is worth carrying out.  They bear no time at which
# they expire: that would be compared with the clock of whichever machine takes them up.
@shared_task(soft_time_limit=30)
def sweep_jobs() -> int:
    """Wake workers for jobs whose worker died or was never woken, unless that was done a moment ago."""
    return jobs.sweep() if first_within(SWEPT_WITHIN_SECONDS, "sweep") else 0


@shared_task(soft_time_limit=300, expires=3_600)
def forget_old_answers() -> int:
    """Remove answers that were kept for repeats long enough."""
    return answers.forget_old_answers()
