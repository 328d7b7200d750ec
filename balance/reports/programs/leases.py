"""Who holds a report of a program: its own row is the truth, and carries the lease.

A report is taken up by a conditional update of its lease, so that of two deliveries one does the work; the work renews
the lease as it goes.  When a worker dies, the lease runs out and the sweep wakes another.  A worker that was held up
beyond its lease finds at its next step that another attempt holds the report, and stops without a word.
"""

from __future__ import annotations

import uuid
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, Final

from django.db.models import F, QuerySet
from django.db.models.functions import Now

from balance.models import ProgramReport
from balance.reports.programs.asking import TASK, UNFINISHED
from records.models.jobs import JobState
from records.services.jobs import FIRST_PAUSE, LEASE, LONGER_EACH_TIME, MOST_ATTEMPTS
from records.waking import wake_for

_TRIED: Final = f"It was tried {MOST_ATTEMPTS} times and came to no end; it is not tried again."
_MOST_WOKEN: Final = 100


class TakenOver(Exception):
    """The lease ran out and another worker holds the report, or finished it."""


@dataclass(frozen=True)
class Held:
    """A report as one worker holds it; the number of the attempt tells this holder from the one after it."""

    report_id: uuid.UUID
    attempt: int
    #: Told how far the work is, after each part.
    watch: Callable[[int, int], object] = lambda *_: None

    def renew(self, **columns: Any) -> None:
        """Hold it for longer, and note how far the work is.

        Raises
        ------
        TakenOver
        """
        self.write(leased_until=Now() + LEASE, **columns)

    def write(self, **columns: Any) -> None:
        """Write on the report in the open transaction, if this worker still holds it.

        Raises
        ------
        TakenOver
        """
        if not self._mine().update(**columns):
            raise TakenOver

    def fail(self, why: str) -> None:
        """Say that it could not be made; nothing where another worker holds it."""
        self._mine().update(state=JobState.FAILED, failure=why, finished_at=Now())

    def give_back(self) -> None:
        """Let the sweep wake another worker after a pause, unless it was tried enough."""
        if self.attempt >= MOST_ATTEMPTS:
            self.fail(_TRIED)
            return
        self._mine().update(leased_until=Now() + FIRST_PAUSE * LONGER_EACH_TIME ** (self.attempt - 1))

    def _mine(self) -> QuerySet[ProgramReport]:
        return ProgramReport.objects.filter(pk=self.report_id, attempts=self.attempt, state=JobState.RUNNING)


def take_up(report_id: uuid.UUID, watch: Callable[[int, int], object] = lambda *_: None) -> Held | None:
    """Take a report up, unless another worker holds it, it is finished, or it was tried enough."""
    free = ProgramReport.objects.filter(pk=report_id, state__in=UNFINISHED, leased_until__lte=Now())
    taken = free.filter(attempts__lt=MOST_ATTEMPTS).update(
        state=JobState.RUNNING, attempts=F("attempts") + 1, leased_until=Now() + LEASE
    )
    if not taken:
        free.filter(attempts__gte=MOST_ATTEMPTS).update(state=JobState.FAILED, failure=_TRIED, finished_at=Now())
        return None
    attempts = ProgramReport.objects.values_list("attempts", flat=True).get(pk=report_id)
    return Held(report_id, attempts, watch)


def sweep() -> int:
    """Wake a worker for every report whose lease has run out; give how many."""
    waiting = ProgramReport.objects.filter(state__in=UNFINISHED, leased_until__lt=Now()).order_by("leased_until")
    found = list(waiting.values_list("pk", flat=True)[:_MOST_WOKEN])
    for report_id in found:
        wake_for(TASK, report_id)
    return len(found)
