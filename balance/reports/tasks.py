"""What Celery may call for reports of programs: shells of one line; those of farms are jobs like any other."""

from __future__ import annotations

import uuid

from celery import shared_task

from balance.reports import kinds as _kinds  # noqa: F401 - registers the jobs of this package
from balance.reports.programs.leases import sweep
from balance.reports.programs.making import run
from records.tasks import SWEPT_WITHIN_SECONDS
from records.waking import first_within


@shared_task(soft_time_limit=600, max_retries=0)
def make_program_report(report_id: str) -> None:
    """Make one report."""
    run(uuid.UUID(report_id))


# As for jobs: of many sweeps that waited one is worth carrying out, and no machine's own clock decides which.
@shared_task(soft_time_limit=30)
def sweep_program_reports() -> int:
    """Wake workers for reports whose worker died or was never woken, unless that was done a moment ago."""
    return sweep() if first_within(SWEPT_WITHIN_SECONDS, "sweep of program reports") else 0
