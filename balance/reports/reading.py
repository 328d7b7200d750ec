"""One point in time of one farm, and what of it every section asks for."""

from __future__ import annotations

import uuid
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any, Final

from django.db import connection, transaction

from balance.reports.quantities import Units
from records.access import Caller, OpenFarm, Right, enter, open_farm
from records.errors import NotValid
from records.exporting.snapshot import reading_apart
from records.models import Block, Person

#: A report of more blocks than this would be read by nobody.
MOST_BLOCKS: Final = 200
#: The moment is held while the blocks are read one after the other; the job's own time limit is shorter.
_HOLDER: Final = "-c statement_timeout=60000 -c idle_in_transaction_session_timeout=900000"


@dataclass(frozen=True)
class Moment:
    """One point in time that any number of transactions can be opened at.

    ``kept`` is what was asked once and holds for the whole moment.
    """

    snapshot: str
    taken_at: datetime
    kept: dict[Any, Any] = field(default_factory=dict, compare=False, repr=False)


@dataclass(frozen=True)
class Reading:
    """A farm as it was at one moment, opened to whoever asked for the report."""

    opened: OpenFarm
    season: int
    units: Units
    taken_at: datetime
    kept: dict[Any, Any] = field(default_factory=dict, compare=False, repr=False)


@contextmanager
def this_moment() -> Iterator[Moment]:
    """Hold the present on a connection of its own: what is written from now on is seen by no reading of it.

    The connection reads nothing itself; each part of the work opens a short transaction at the same moment, so that
    between the parts the job can tell how far it is in transactions that others see.
    """
    with reading_apart(_HOLDER) as holder:
        with holder.cursor() as cursor:
            cursor.execute("SELECT pg_export_snapshot(), statement_timestamp()")
            snapshot, taken_at = cursor.fetchone()
        yield Moment(snapshot, taken_at)


@contextmanager
def at_the_moment(moment: Moment) -> Iterator[None]:
    """Open a transaction that sees the moment and writes nothing."""
    with transaction.atomic():
        with connection.cursor() as cursor:
            cursor.execute("SET TRANSACTION ISOLATION LEVEL REPEATABLE READ READ ONLY")
            cursor.execute("SET TRANSACTION SNAPSHOT %s", [moment.snapshot])
        yield


@contextmanager
def reading_at(moment: Moment, farm_id: uuid.UUID, person: Person, season: int, units: Units) -> Iterator[Reading]:
    """Open a farm as it was at a moment, in a transaction that writes nothing.

    Raises
    ------
    NotFound, NotAllowed
        The farm is gone, or the person may not read it any more.
    """
    with at_the_moment(moment):
        caller = Caller(person)
        enter(caller)
        opened = open_farm(caller, farm_id, Right.READ)
        yield Reading(opened, season, units, moment.taken_at, moment.kept)


def blocks_of(reading: Reading) -> list[Block]:
    """Give the farm's blocks in the order of their names.

    Raises
    ------
    NotValid
        It has more than one report can hold.
    """
    blocks = Block.objects.for_farm(reading.opened.farm).select_related(
        "cultivar", "cultivar__group", "cultivar_group", "pruning_formula"
    )
    found = list(blocks.order_by("name", "id")[: MOST_BLOCKS + 1])
    if len(found) > MOST_BLOCKS:
        raise NotValid(f"The farm has more than {MOST_BLOCKS} blocks, which one report does not hold.")
    return found
