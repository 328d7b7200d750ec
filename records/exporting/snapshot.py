"""Read one farm at one point in time, row by row, however long it takes and whatever is written meanwhile."""

from __future__ import annotations

import uuid
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import datetime
from typing import Any, Final

from django.db import connection
from django.db.backends.base.base import BaseDatabaseWrapper
from psycopg import IsolationLevel

from records.errors import NotFound
from records.exporting.sheets import Sheet

_ROWS_AT_A_TIME: Final = 2_000
#: Between two reads the parts are packed and stored; each read is one statement and short.
_OPTIONS: Final = "-c statement_timeout=60000 -c lock_timeout=3000 -c idle_in_transaction_session_timeout=120000"


@dataclass(frozen=True)
class Snapshot:
    """A farm as it was at one moment, on a connection of its own."""

    farm_id: uuid.UUID
    farm_name: str
    taken_at: datetime
    database: BaseDatabaseWrapper

    def count(self, sheet: Sheet) -> int:
        """Count the rows of a sheet."""
        with self.database.cursor() as cursor:
            cursor.execute(f"SELECT count(*) {sheet.source}", self._arguments(sheet))
            return int(cursor.fetchone()[0])

    def as_json(self, sheet: Sheet) -> Iterator[str]:
        """Give each row as one JSON object, numbers exactly as they are kept."""
        listed = ", ".join(f'{column.expression} AS "{column.name}"' for column in sheet.columns)
        query = f"SELECT row_to_json(r)::text FROM (SELECT {listed} {_ordered(sheet)}) r"  # noqa: S608
        return (text for (text,) in self._rows(query, self._arguments(sheet)))

    def as_cells(self, sheet: Sheet) -> Iterator[tuple[str | None, ...]]:
        """Give each row as the texts of its cells."""
        listed = ", ".join(f"to_jsonb({column.expression}) #>> '{{}}'" for column in sheet.columns)
        return self._rows(f"SELECT {listed} {_ordered(sheet)}", self._arguments(sheet))

    def binary(self, sheet: Sheet, column: str) -> Iterator[tuple[Any, ...]]:
        """Give the id and the bytes of each row that has any."""
        query = f'SELECT t."id", t."{column}" {sheet.source} AND t."{column}" IS NOT NULL ORDER BY {sheet.order}'
        return self._rows(query, self._arguments(sheet), at_a_time=1)

    def _arguments(self, sheet: Sheet) -> list[uuid.UUID]:
        return [self.farm_id] if sheet.of_the_farm else []

    def _rows(self, query: str, arguments: list[uuid.UUID], at_a_time: int = _ROWS_AT_A_TIME) -> Iterator[Any]:
        with self.database.chunked_cursor() as cursor:
            cursor.execute(query, arguments)
            while rows := cursor.fetchmany(at_a_time):
                yield from rows


@contextmanager
def snapshot_of(farm_id: uuid.UUID) -> Iterator[Snapshot]:
    """Open a farm to reading as it is now, in a read-only transaction that sees no later change.

    It is a connection of its own, because the job writes its progress meanwhile in transactions that others must see.

    Raises
    ------
    NotFound
        There is no such farm.
    """
    with reading_apart(_OPTIONS) as database:
        with database.cursor() as cursor:
            cursor.execute("SELECT set_config('app.farms', %s, true)", [str(farm_id)])
            cursor.execute("SELECT name, statement_timestamp() FROM farm WHERE id = %s", [farm_id])
            found = cursor.fetchone()
        if found is None:
            raise NotFound(f"There is no farm {farm_id}.")
        yield Snapshot(farm_id, found[0], found[1], database)


@contextmanager
def reading_apart(options: str) -> Iterator[BaseDatabaseWrapper]:
    """Open a connection of its own in a read-only transaction that sees no later change; ``options`` bound its time."""
    database = connection.copy()
    database.settings_dict["OPTIONS"] = {
        **database.settings_dict["OPTIONS"],
        "isolation_level": IsolationLevel.REPEATABLE_READ,
        "options": options,
    }
    try:
        database.set_autocommit(False)
        with database.cursor() as cursor:
            cursor.execute("SET TRANSACTION READ ONLY")
        yield database
    finally:
        database.close()


def _ordered(sheet: Sheet) -> str:
    return f"{sheet.source} ORDER BY t.{sheet.order}"
