"""Wake a worker for a job, if the broker can be reached; if not, the sweeper finds the job's ticket later."""

from __future__ import annotations

import logging
import uuid
from typing import Any, Final

from celery import current_app
from kombu.exceptions import OperationalError
from redis.exceptions import RedisError

log = logging.getLogger("vineyard.jobs")

#: Whoever asks for a job waits for this: one try, and at most a second for a broker that hangs.
_ONE_TRY: Final = {
    "socket_timeout": 1.0,
    "socket_connect_timeout": 1.0,
    "connect_retries_timeout": 1.0,
    "max_retries": 0,
}


def wake(farm_id: uuid.UUID, job_id: uuid.UUID) -> None:
    """Send a worker the ids of a job and nothing else; a broker that is away delays, and never loses."""
    wake_for("records.tasks.run_job", farm_id, job_id)


def wake_for(task: str, *ids: uuid.UUID) -> None:
    """Send a worker a task with ids and nothing else; the last id is what waits where the broker is away."""
    try:
        # A connection of its own: the pooled one carries the worker's patience, 6 s for a broker that is away.
        with current_app.connection_for_write(transport_options=_ONE_TRY) as connection:
            args = [str(each) for each in ids]
            current_app.send_task(task, args=args, retry=False, connection=connection)
    except (OperationalError, OSError):
        log.warning("broker away; job %s waits for the sweeper", ids[-1])


def first_within(seconds: int, what: str) -> bool:
    """Tell whether nobody did this within so many seconds, by the broker's own clock; where it is away, nobody did.

    Only the broker's clock is asked: those of the machines that send and take messages may be hours apart.
    """
    with current_app.connection_for_write(transport_options=_ONE_TRY) as connection:
        try:
            channel: Any = connection.default_channel  # of Valkey: it has a client
            return bool(channel.client.set(f"vineyard:done:{what}", "done", nx=True, ex=seconds))
        except (OperationalError, OSError, RedisError):
            return True
