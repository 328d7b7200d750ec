"""Ask for a snapshot of a program's season, and find it again."""

from __future__ import annotations

import uuid
from typing import Final

from django.db.models import QuerySet

from balance.benchmarks.models import BenchmarkSnapshot
from balance.program_work.asking import ask_for
from balance.program_work.leases import TASKS
from records.access import Caller
from records.errors import NotFound
from records.models import Program

TASK: Final = "balance.benchmarks.tasks.make_benchmarks"
TASKS[BenchmarkSnapshot] = TASK


def ask_for_snapshot(caller: Caller, program: Program, season: int, own_id: uuid.UUID | None) -> BenchmarkSnapshot:
    """Note that a snapshot is to be made; one of the same season at a time.

    Raises
    ------
    IdUnavailable, Conflict
        See ``balance.program_work.asking``.
    """
    return snapshot_of(program, ask_for(BenchmarkSnapshot, caller, program, {"season": season}, own_id))


def snapshots_of(program: Program) -> QuerySet[BenchmarkSnapshot]:
    """Give the snapshots of a program."""
    return BenchmarkSnapshot.objects.filter(program=program)


def snapshot_of(program: Program, snapshot_id: uuid.UUID) -> BenchmarkSnapshot:
    """Give one snapshot of a program."""
    snapshot = snapshots_of(program).filter(pk=snapshot_id).first()
    if snapshot is None:
        raise NotFound
    return snapshot
