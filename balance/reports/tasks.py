"""What Celery may call for reports of programs: shells of one line."""

from __future__ import annotations

import uuid

from celery import shared_task

from balance.reports.programs.leases import sweep
from balance.reports.programs.making import run


@shared_task(soft_time_limit=600, max_retries=0)
def make_program_report(report_id: str) -> None:
    """Make one report."""
    run(uuid.UUID(report_id))


# As for jobs: a sweep that nobody carried out before the next is due is not worth carrying out.
@shared_task(soft_time_limit=30, expires=10)
def sweep_program_reports() -> int:
    """Wake workers for reports whose worker died or was never woken."""
    return sweep()
