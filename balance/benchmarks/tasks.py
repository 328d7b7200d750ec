"""What Celery may call for benchmarks: a shell of one line."""

from __future__ import annotations

import uuid

from celery import shared_task

from balance.benchmarks.making import run


@shared_task(soft_time_limit=600, max_retries=0)
def make_benchmarks(snapshot_id: str) -> None:
    """Make one snapshot."""
    run(uuid.UUID(snapshot_id))
