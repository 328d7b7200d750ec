"""What was stored, changed and withdrawn on a farm since a place in the feed.

Every row that the feed tells of carries the number of the transaction that wrote it last.  Transactions end in
another order than they began, so a reader who took the largest number for its place would never see a row that a
slower transaction commits later.  Here a page ends before the oldest transaction that still runs: everything before
that is settled, and nothing can be added there.  The feed tells of each row once, at its newest state; a row that
changes while it is read comes again.

A restored database counts its transactions from another beginning.  ``after_restore`` begins a new epoch, whose
places all lie beyond the old ones, and a cursor of an earlier epoch is refused once.
"""

from __future__ import annotations

import uuid
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any, Final

from django.db import connection
from django.db.backends.base.base import BaseDatabaseWrapper

from records.access import OpenFarm
from records.errors import CursorExpired
from records.kinds import KINDS
from records.models import Block, FeedEpoch, Row, Vine
from records.models.base import Followed
from records.services.recording import MODELS

#: What the feed tells of, by table.
FOLLOWED: Final[dict[str, type[Followed]]] = {"block": Block, "row": Row, "vine": Vine, **MODELS}
#: Of a database that was never restored.
FIRST_EPOCH: Final = 1
_NOWHERE: Final = uuid.UUID(int=0)
#: Places of one epoch; no database of ours counts so many transactions.
_PLACES_OF_AN_EPOCH: Final = 10**12
_EPOCHS_COUNT_FROM: Final = datetime(2020, 1, 1, tzinfo=UTC)


@dataclass(frozen=True)
class Place:
    """A place in the feed: after this row, in this epoch."""

    epoch: int
    position: int = -1
    row_id: uuid.UUID = _NOWHERE
    entity: str = ""


@dataclass(frozen=True)
class Change:
    """One row as the feed tells of it; ``row`` is its newest state."""

    entity: str
    row: Any
    place: Place

    @property
    def is_withdrawn(self) -> bool:
        return getattr(self.row, "withdrawn_at", None) is not None


@dataclass(frozen=True)
class Page:
    """Some changes, the place to go on from, and whether there are more already."""

    changes: Sequence[Change]
    place: Place
    more: bool


def changes_since(opened: OpenFarm, place: Place | None, entities: Iterable[str], limit: int) -> Page:
    """Give the next changes of a farm after a place, the oldest first; without a place, from the beginning.

    Raises
    ------
    CursorExpired
        The place is of an earlier life of the database.
    """
    epoch = FeedEpoch.objects.values_list("epoch", flat=True).first() or FIRST_EPOCH
    place = place or Place(epoch)
    if place.epoch != epoch:
        raise CursorExpired(
            "The records were restored from a backup since this cursor was given. Read the feed from its beginning, "
            "without a cursor; what you have already does no harm."
        )
    found = _next(opened, place, sorted(entities), limit + 1)
    told = found[:limit]
    rows = _rows(opened, told)
    changes = [
        Change(entity, rows[entity, row_id], Place(epoch, position, row_id, entity))
        for position, row_id, entity in told
    ]
    return Page(changes, changes[-1].place if changes else place, more=len(found) > limit)


_Found = tuple[int, uuid.UUID, str]


def _next(opened: OpenFarm, place: Place, entities: Sequence[str], limit: int) -> list[_Found]:
    """Give position, id and table of the next rows, in one statement, so that all tables are read at one moment."""
    parts: list[str] = []
    arguments: list[Any] = []
    for entity in entities:
        beyond = ">=" if entity > place.entity else ">"
        parts.append(f"""(
            SELECT change_position, id, '{entity}' AS entity FROM "{entity}"
            WHERE farm_id = %s AND (change_position, id) {beyond} (%s, %s)
              AND change_position < pg_snapshot_xmin(pg_current_snapshot())::text::bigint + change_offset()
            ORDER BY change_position, id LIMIT %s
        )""")  # noqa: S608 - names of our own tables
        arguments += [opened.farm.pk, place.position, place.row_id, limit]
    told = " UNION ALL ".join(parts)
    statement = f"SELECT * FROM ({told}) AS told ORDER BY change_position, id, entity LIMIT %s"  # noqa: S608 - as above
    with connection.cursor() as cursor:
        cursor.execute(statement, [*arguments, limit])
        return [(position, row_id, entity) for position, row_id, entity in cursor.fetchall()]


def _rows(opened: OpenFarm, told: Sequence[_Found]) -> dict[tuple[str, uuid.UUID], Any]:
    rows: dict[tuple[str, uuid.UUID], Any] = {}
    for entity in {entity for _, _, entity in told}:
        ids = [row_id for _, row_id, each in told if each == entity]
        found = FOLLOWED[entity].objects.for_farm(opened.farm).filter(pk__in=ids)
        if entity not in KINDS and entity != "row":
            found = found.select_related("pruning_formula")
        rows.update(((entity, row.pk), row) for row in found)
    return rows


def after_restore(owner: BaseDatabaseWrapper) -> int:
    """Begin a new epoch, as the role that owns the tables; gives its number.

    Epochs are numbered by ten minutes of the clock, so that no two restores of whichever backup share one.
    """
    now = int((datetime.now(tz=UTC) - _EPOCHS_COUNT_FROM).total_seconds() // 600)
    with owner.cursor() as cursor:
        cursor.execute(
            "INSERT INTO feed_epoch AS standing (id, epoch) VALUES (1, %(now)s) ON CONFLICT (id) DO UPDATE "
            "SET epoch = greatest(standing.epoch + 1, %(now)s), began_at = now() RETURNING epoch",
            {"now": now},
        )
        epoch = int(cursor.fetchone()[0])
        offset = epoch * _PLACES_OF_AN_EPOCH
        cursor.execute(
            "CREATE OR REPLACE FUNCTION change_offset() RETURNS bigint LANGUAGE sql IMMUTABLE PARALLEL SAFE AS "
            f"$$ SELECT {offset}::bigint $$"
        )
    return epoch
