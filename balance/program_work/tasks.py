"""What Celery may call for all work for programs: a shell of one line."""

from __future__ import annotations

from celery import shared_task

from balance.benchmarks import asking as _benchmarks  # noqa: F401 - registers its kind of work
from balance.program_work.leases import sweep
from balance.reports.programs import asking as _reports  # noqa: F401 - registers its kind of work
from balance.reports.programs.scheduling import ask_for_due
from records.tasks import SWEPT_WITHIN_SECONDS
from records.waking import first_within


# As for jobs: of many sweeps that waited one is worth carrying out, and no machine's own clock decides which.
@shared_task(soft_time_limit=30)
def sweep_program_work() -> int:
    """Ask for what is due by a schedule, and wake workers for work that nobody holds, unless that was done just now."""
    if not first_within(SWEPT_WITHIN_SECONDS, "sweep of program work"):
        return 0
    return ask_for_due() + sweep()
