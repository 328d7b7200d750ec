"""Who holds a piece of work for a program: its own row is the truth, and carries the lease.

Work is taken up under a lock of its row, so that of two deliveries one does it; it renews the lease as it goes.  When
a worker dies, the lease runs out and the sweep wakes another.  A worker that was held up beyond its lease finds at its
next step that another attempt holds the work, and stops without a word.  Attempts are numbered through as those of
jobs are (``records.services.jobs``): three each time that somebody asks.
"""

from __future__ import annotations

import logging
import uuid
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, Final

from django.db import transaction
from django.db.models import F, QuerySet
from django.db.models.functions import Now

from balance.program_work.models import UNFINISHED, ProgramWork
from records.errors import Refusal
from records.models.jobs import JobState
from records.services.jobs import FIRST_PAUSE, LEASE, LONGER_EACH_TIME, MOST_ATTEMPTS
from records.waking import wake_for

log = logging.getLogger("vineyard.jobs")

#: The task that carries out each kind of work; whoever adds a kind says so here.
TASKS: Final[dict[type[ProgramWork], str]] = {}
Watch = Callable[[int, int], object]
_TRIED: Final = f"It was tried {MOST_ATTEMPTS} times and came to no end; it is not tried again."
_MOST_WOKEN: Final = 100


class TakenOver(Exception):
    """The lease ran out and another worker holds the work, or finished it."""


class Cancelled(Exception):
    """Somebody asked to cancel the work, and there is some left that need not be done."""


def _unwatched(_done: int, _total: int) -> None:
    """Tell nobody how far the work is."""


@dataclass(frozen=True)
class Held:
    """Work as one worker holds it; the number of the attempt tells this holder from the one after it."""

    kind: type[ProgramWork]
    work_id: uuid.UUID
    attempt: int
    #: Told how far the work is, after each part.
    watch: Watch = _unwatched

    def renew(self, **columns: Any) -> None:
        """Hold it for longer, and note how far the work is.

        Raises
        ------
        TakenOver, Cancelled
        """
        self.write(leased_until=Now() + LEASE, **columns)
        if self._mine().filter(cancel_asked_at__isnull=False).exists():
            raise Cancelled

    def write(self, **columns: Any) -> None:
        """Write on the work in the open transaction, if this worker still holds it.

        Raises
        ------
        TakenOver
        """
        if not self._mine().update(**columns):
            raise TakenOver

    def end(self, state: str, why: str = "") -> None:
        """Say that it is over without success; nothing where another worker holds it."""
        self._mine().update(state=state, failure=why, finished_at=Now())

    def fail(self, why: str) -> None:
        """Say that it could not be made; nothing where another worker holds it."""
        self.end(JobState.FAILED, why)

    def give_back(self) -> None:
        """Let the sweep wake another worker after a pause, unless it was tried enough."""
        tried = (self.attempt - 1) % MOST_ATTEMPTS + 1
        if tried == MOST_ATTEMPTS:
            self.fail(_TRIED)
            return
        self._mine().update(leased_until=Now() + FIRST_PAUSE * LONGER_EACH_TIME ** (tried - 1))

    def _mine(self) -> QuerySet[Any]:
        return rows_of(self.kind).filter(pk=self.work_id, attempts=self.attempt, state=JobState.RUNNING)


def rows_of(kind: type[ProgramWork]) -> QuerySet[Any]:
    """Give the rows of one kind of work."""
    rows: QuerySet[Any] = kind._default_manager.all()  # noqa: SLF001 - Django's own way to it
    return rows


def carry_out(kind: type[ProgramWork], work_id: uuid.UUID, make: Callable[[Held], object], watch: Watch) -> None:
    """Take work up and do it; nothing happens where another worker holds it or it is finished."""
    held = take_up(kind, work_id, watch)
    if held is None:
        return
    try:
        make(held)
    except TakenOver:
        log.warning("%s %s: attempt %d is not its holder any more and stops", _named(kind), work_id, held.attempt)
    except Cancelled:
        held.end(JobState.CANCELLED)
    except Refusal as refusal:
        held.fail(refusal.detail)
    except Exception:
        log.exception("%s %s failed", _named(kind), work_id)
        held.give_back()
        raise


def _named(kind: type[ProgramWork]) -> str:
    return str(kind._meta.verbose_name)  # noqa: SLF001 - Django's own way to it


def take_up(kind: type[ProgramWork], work_id: uuid.UUID, watch: Watch = _unwatched) -> Held | None:
    """Take work up, unless another worker holds it, it is finished, or it was tried enough."""
    with transaction.atomic():
        free = rows_of(kind).filter(pk=work_id, state__in=UNFINISHED, leased_until__lte=Now())
        work = free.only("state", "attempts", "cancel_asked_at").select_for_update(no_key=True, of=("self",)).first()
        if work is None:
            return None
        this = rows_of(kind).filter(pk=work_id)
        if work.cancel_asked_at is not None:
            this.update(state=JobState.CANCELLED, failure="", finished_at=Now())
            return None
        if work.state == JobState.RUNNING and work.attempts % MOST_ATTEMPTS == 0:
            this.update(state=JobState.FAILED, failure=_TRIED, finished_at=Now())
            return None
        this.update(state=JobState.RUNNING, attempts=F("attempts") + 1, leased_until=Now() + LEASE)
    return Held(kind, work_id, work.attempts + 1, watch)


def sweep() -> int:
    """Wake a worker for all work whose lease has run out; give how much."""
    woken = 0
    for kind, task in TASKS.items():
        waiting = rows_of(kind).filter(state__in=UNFINISHED, leased_until__lt=Now()).order_by("leased_until")
        for work_id in list(waiting.values_list("pk", flat=True)[:_MOST_WOKEN]):
            wake_for(task, work_id)
            woken += 1
    return woken
