"""Make a snapshot of a program's season: read farms at one moment, decide what may be told, keep it once.

A season that was told is counted anew only where the difference tells of nobody.  Where a farm has taken its consent
back since, and nothing else may be counted anew, the snapshot is made of the last one: it says the same where that farm
did not stand, and nothing where it did.
"""

from __future__ import annotations

import time
import uuid
from collections.abc import Callable
from dataclasses import dataclass, field, replace
from datetime import datetime
from typing import Final

from django.conf import settings
from django.db import transaction
from django.db.models.functions import Now

from balance.benchmarks.brought import Brought, told_apart
from balance.benchmarks.deciding import Decided, ToldBefore, as_before, decide, growers_told, why_not_anew
from balance.benchmarks.keeping import any_ended, cells_of, keep, made_around, told_before
from balance.benchmarks.models import BenchmarkSnapshot
from balance.program_work.asking import one_after_the_other
from balance.program_work.consenting import consents_held, note_that_counted
from balance.program_work.leading import asker_of, go_on, still_led
from balance.program_work.leases import Held, carry_out
from balance.program_work.one_telling import refuse_beside_a_report
from balance.reports.programs.contributions import Counting, sums_of_farms
from balance.reports.programs.sums import FarmSums
from balance.reports.reading import this_moment
from records.access import Caller, consents_for, consents_to_count, enter
from records.errors import NotValid
from records.models import Purpose
from records.models.jobs import JobState

#: Decisions take seconds a measure; the lease is renewed this often meanwhile [s].
_RENEWED_EVERY: Final = 3.0
_STAYS: Final = "The season stays as it was told in snapshot {number}. {why}"
_ERASED: Final = (
    "A farm that a snapshot of this season counted was erased, and with it what it had brought. Nobody could look any "
    "more whether a new snapshot beside that one shows it by subtraction, so none is made."
)


@dataclass(frozen=True)
class _Before:
    """What stood before: snapshots of this season and those beside it, with what they told."""

    made: list[BenchmarkSnapshot]
    told: list[ToldBefore]
    season: int

    @property
    def last(self) -> tuple[BenchmarkSnapshot, ToldBefore] | None:
        """The newest snapshot of this season."""
        pairs = [pair for pair in zip(self.made, self.told, strict=True) if pair[0].season == self.season]
        return pairs[-1] if pairs else None


@dataclass(frozen=True)
class _Counted:
    """What farms bring: read now, or as the last snapshot had it, with what that told."""

    taken_at: datetime
    read: tuple[FarmSums, ...] = ()
    kept: tuple[Brought, ...] = ()
    again: tuple[Decided, ...] | None = None
    gone: frozenset[uuid.UUID] = field(default_factory=frozenset)

    def brought(self, salt: str) -> tuple[Brought, ...]:
        """Give what is brought by whoever lets the program count them; nobody else has a part in how it is sorted."""
        if self.again is not None:
            return tuple(each for each in self.kept if each.farm not in self.gone)
        return told_apart([farm for farm in self.read if farm.farm not in self.gone], salt)


class _Otherwise(Exception):
    """Meanwhile another snapshot of the season, or beside it, was finished."""


def run(snapshot_id: uuid.UUID, watch: Callable[[int, int], object] = lambda *_: None) -> None:
    """Take a snapshot up and make it; nothing happens where another worker holds it or it is finished."""
    carry_out(BenchmarkSnapshot, snapshot_id, _make, watch)


def _make(held: Held) -> None:
    snapshot = BenchmarkSnapshot.objects.select_related("program", "asked_by").get(pk=held.work_id)
    finished = False
    while not finished:
        before = _before(snapshot)
        counted = _counted(held, snapshot, before)
        try:
            finished = _told(held, snapshot, before, counted)
        except _Otherwise:
            continue


def _before(snapshot: BenchmarkSnapshot) -> _Before:
    refuse_beside_a_report(snapshot.program_id, snapshot.season)
    made = made_around(snapshot)
    if any(each.farm_erased for each in made if each.season == snapshot.season):
        raise NotValid(_ERASED)
    with transaction.atomic():
        caller = Caller(asker_of(snapshot))
        enter(caller)
        ever = consents_for(caller).filter(program=snapshot.program_id, purpose=Purpose.BENCHMARKS)
        farms = set(ever.values_list("farm_id", flat=True))
    return _Before(made, told_before(made, farms), snapshot.season)


def _counted(held: Held, snapshot: BenchmarkSnapshot, before: _Before) -> _Counted:
    """Read the farms; where the season is told already and may not be counted anew, take what was brought before."""
    with this_moment() as moment:
        counting = Counting(moment, snapshot.program_id, asker_of(snapshot), snapshot.season, Purpose.BENCHMARKS)
        farms: tuple[FarmSums, ...] = ()
        for done, total, read in sums_of_farms(counting):
            go_on(held, snapshot, done, total + 1)
            farms = read
        now = _Counted(moment.taken_at, farms)
    if before.last is None:
        return now
    last, told = before.last
    why = why_not_anew(now.brought(str(snapshot.pk)), before.told, told)
    if why is None:
        return now
    in_force = _in_force(snapshot)
    left = frozenset(each.farm for each in told.brought) - in_force
    if not left and not any_ended(last):
        raise NotValid(_STAYS.format(number=last.number, why=why))
    return _Counted(last.taken_at or moment.taken_at, (), told.brought, cells_of(last), left)


def _in_force(snapshot: BenchmarkSnapshot) -> frozenset[uuid.UUID]:
    with transaction.atomic():
        caller = Caller(asker_of(snapshot))
        enter(caller)
        consents = consents_to_count(caller, snapshot.program_id, Purpose.BENCHMARKS)
        return frozenset(consents.values_list("farm_id", flat=True))


def _told(held: Held, snapshot: BenchmarkSnapshot, before: _Before, counted: _Counted) -> bool:
    """Decide and keep; where farms took their consent back meanwhile, decide anew without them."""
    while True:
        brought = counted.brought(str(snapshot.pk))
        if counted.again is not None:
            cells = as_before(counted.again, counted.kept, counted.gone)
        else:
            cells = decide(snapshot.season, brought, before.told, _renewing(held, snapshot, len(brought)))
        gone = _finish(held, snapshot, before, (counted.taken_at, brought, cells))
        if not gone:
            return True
        counted = replace(counted, gone=counted.gone | gone)


def _renewing(held: Held, snapshot: BenchmarkSnapshot, farms: int) -> Callable[[], object]:
    """Give what is called while the audit works: it holds the snapshot, and ends the work where that is to end."""
    renewed = time.monotonic()

    def renew() -> None:
        nonlocal renewed
        if time.monotonic() - renewed > _RENEWED_EVERY:
            renewed = time.monotonic()
            go_on(held, snapshot, farms, farms + 1)

    return renew


def _finish(
    held: Held,
    snapshot: BenchmarkSnapshot,
    before: _Before,
    made: tuple[datetime, tuple[Brought, ...], tuple[Decided, ...]],
) -> frozenset[uuid.UUID]:
    """Write everything in one transaction; where consents have ended, write nothing and give those farms.

    Consents are held until the transaction ends: whoever takes one back waits for it, and what is shown ends with it.
    """
    taken_at, brought, cells = made
    with transaction.atomic():
        held.renew()
        still_led(snapshot)
        one_after_the_other(snapshot.program)
        refuse_beside_a_report(snapshot.program_id, snapshot.season)
        if [each.pk for each in made_around(snapshot)] != [each.pk for each in before.made]:
            raise _Otherwise
        farms = [each.farm for each in brought]
        consents = consents_held(snapshot, farms, Purpose.BENCHMARKS)
        gone = frozenset(farms) - consents.keys()
        if gone:
            return gone
        keep(snapshot.pk, cells, brought, consents)
        note_that_counted(snapshot, consents.values(), path_of(snapshot))
        last = before.last
        held.write(
            state=JobState.SUCCEEDED, failure="", finished_at=Now(), taken_at=taken_at,
            number=(last[0].number or 0) + 1 if last else 1, growers=growers_told(brought),
            made_by_version=str(settings.SPECTACULAR_SETTINGS["VERSION"]),
            progress_done=len(farms) + 1, progress_total=len(farms) + 1,
        )  # fmt: skip
    return frozenset()


def path_of(snapshot: BenchmarkSnapshot) -> str:
    """Give the address by which a snapshot stands in the access logs of the farms that it counted."""
    return f"/api/v1/programs/{snapshot.program_id}/benchmarks/{snapshot.pk}"
