"""The Celery application; it does not come up as a role that could look over the walls.

Work is logged under the id of the request that asked for it: the id travels in the message's headers, beside the
two ids that are its arguments.  The scheduler and the worker leave a sign of life with the broker at every sweep.
"""

from __future__ import annotations

import logging
import os
import sys
from typing import Any, Final

from celery import Celery
from celery.signals import before_task_publish, setup_logging, task_postrun, task_prerun, worker_init
from django.dispatch import receiver

from records.signals import job_taken_up

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "vineyard.settings")
app = Celery("vineyard")
app.config_from_object("django.conf:settings", namespace="CELERY")
app.autodiscover_tasks()

log = logging.getLogger("vineyard.work")

SWEEP: Final = "records.tasks.sweep_jobs"
RUN: Final = "records.tasks.run_job"


@worker_init.connect
def refuse_unsafe(**_: Any) -> None:
    """Stop the start of a worker whose role the walls do not hold."""
    from vineyard.database_role import UnsafeRole, refuse_unsafe_role  # noqa: PLC0415 - needs Django set up

    try:
        refuse_unsafe_role()
    except UnsafeRole as refusal:
        log.critical("%s", refusal)
        sys.exit(1)


@setup_logging.connect
def leave_logging_alone(**_: Any) -> None:
    """Keep Celery from adding handlers of its own: the settings say how everything is logged."""


@before_task_publish.connect
def say_who_asked(sender: str = "", headers: dict[str, Any] | None = None, **_: Any) -> None:
    """Send the ids of the request and the trace along; the scheduler's own messages are its sign of life."""
    from vineyard import heartbeat, logs  # noqa: PLC0415 - needs the settings

    if sender == SWEEP:
        heartbeat.beat("scheduler")
    if headers is not None:
        known = logs.bound_facts()
        headers.update({name: known[name] for name in ("request_id", "trace_id") if name in known})


@task_prerun.connect
def say_what_is_carried_out(task: Any = None, task_id: str = "", args: Any = (), **_: Any) -> None:
    """Put farm, job and request on every line that the work logs."""
    from vineyard import heartbeat, logs  # noqa: PLC0415 - needs the settings

    asked = {name: getattr(task.request, name, None) for name in ("request_id", "trace_id")}
    farm, job = args if task.name == RUN and len(args) == 2 else (None, None)
    logs.bind(task=task_id, farm=farm, job=job, **asked)
    if task.name == SWEEP:
        heartbeat.beat("worker")
    if job:
        log.info("job taken up")


@receiver(job_taken_up)
def say_for_whom(request_id: str = "", **_: Any) -> None:
    """Name the request that asked for a job, also where the sweeper and not the request woke the worker."""
    from vineyard import logs  # noqa: PLC0415 - needs the settings

    if request_id:
        logs.bind(**{**logs.bound_facts(), "request_id": request_id})


@task_postrun.connect
def say_that_it_is_over(task: Any = None, **_: Any) -> None:
    """Say how long a job's work took by the line itself, and leave nothing of it on the next one's."""
    from vineyard import logs  # noqa: PLC0415 - needs the settings

    if task.name == RUN:
        log.info("job left")
    logs.bind()
