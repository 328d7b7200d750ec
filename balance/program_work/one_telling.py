"""A season of a program is told to its leads in one way: by reports, or by snapshots of benchmarks, never by both.

Each of the two is held to the privacy rules and the audit by itself.  They count farms by different consents, at
different moments, and withhold different cells, so that somebody who has both could take one from the other.  Until the
audit looks across the two, whichever is told first is the one.
"""

from __future__ import annotations

import uuid
from typing import Final

from balance.models import BenchmarkSnapshot, ProgramReport
from records.errors import NotValid
from records.models.jobs import JobState

BY_REPORT: Final = (
    "A report of this season was made already. Benchmarks beside it, of farms by another consent and at another "
    "moment, could show a farm by subtraction, so a season is told by one of the two. The report stands."
)
BY_BENCHMARKS: Final = (
    "Benchmarks of this season were told already. A report beside them, of farms by another consent and at another "
    "moment, could show a farm by subtraction, so a season is told by one of the two. The benchmarks stand."
)


def refuse_beside_a_report(program_id: uuid.UUID, season: int) -> None:
    """Refuse benchmarks of a season that a report has told.

    Raises
    ------
    NotValid
    """
    made = ProgramReport.objects.filter(program=program_id, season=season, state=JobState.SUCCEEDED)
    if made.exclude(document__released__farms="").exists():
        raise NotValid(BY_REPORT)


def refuse_beside_benchmarks(program_id: uuid.UUID, season: int) -> None:
    """Refuse a report of a season that benchmarks have told.

    Raises
    ------
    NotValid
    """
    if BenchmarkSnapshot.objects.filter(program=program_id, season=season, state=JobState.SUCCEEDED).exists():
        raise NotValid(BY_BENCHMARKS)
