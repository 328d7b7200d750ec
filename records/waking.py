"""Wake a worker for a job, if the broker can be reached; if not, the sweeper finds the job's ticket later."""

from __future__ import annotations

import logging
import uuid

from celery import current_app
from kombu.exceptions import OperationalError

log = logging.getLogger("vineyard.jobs")


def wake(farm_id: uuid.UUID, job_id: uuid.UUID) -> None:
    """Send a worker the ids of a job and nothing else; a broker that is away delays, and never loses."""
    try:
        current_app.send_task("records.tasks.run_job", args=[str(farm_id), str(job_id)], retry=False)
    except (OperationalError, OSError):
        log.warning("broker away; job %s waits for the sweeper", job_id)
