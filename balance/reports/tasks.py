"""What Celery may call for reports of programs: shells of one line; those of farms are jobs like any other."""

from __future__ import annotations

import uuid

from celery import shared_task

from balance.reports import kinds as _kinds  # noqa: F401 - registers the jobs of this package
from balance.reports.programs.making import run


@shared_task(soft_time_limit=600, max_retries=0)
def make_program_report(report_id: str) -> None:
    """Make one report."""
    run(uuid.UUID(report_id))
