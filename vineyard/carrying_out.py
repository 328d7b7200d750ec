"""Carry out a job here and now, for a command, with a bar where there is a terminal to draw it on."""

from __future__ import annotations

import time
import uuid
from typing import Final

from django.db import transaction
from rich.console import Console
from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn

from records.access import open_for_work
from records.models import Job
from records.models.jobs import JobState
from records.services import jobs

UNFINISHED: Final = {JobState.QUEUED, JobState.RUNNING}


def carry_out_here(out: Console, words: str, farm_id: uuid.UUID, job_id: uuid.UUID) -> Job:
    """Do the work of a job, or wait while a worker has it, and give the job once it is over."""
    bars = (TextColumn(words), BarColumn(), MofNCompleteColumn())
    with Progress(*bars, console=out, disable=not out.is_terminal) as bar:
        task = bar.add_task("", total=None)
        while True:
            jobs.run(farm_id, job_id, lambda done, total: bar.update(task, completed=done, total=total))
            job = _job(farm_id, job_id)
            if job.state not in UNFINISHED:
                return job
            time.sleep(0.5)  # a worker has it, or died with it: see records.services.jobs


def _job(farm_id: uuid.UUID, job_id: uuid.UUID) -> Job:
    with transaction.atomic():
        open_for_work(farm_id)
        job: Job = Job.objects.for_farm(farm_id).get(pk=job_id)
        return job
