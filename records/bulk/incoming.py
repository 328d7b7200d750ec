# ruff: noqa: S608 - the statements hold names of our own columns only; values are always parameters
"""The statements by which a batch goes into its table, made once for each kind.

A batch is copied into a temporary table of the connection, empty again at every commit, and from there into the
records, so that row-level security, the checks and the foreign keys look at every line.  A batch of few lines goes
into the records by one statement that takes its text apart itself: to fill and empty the table would cost more.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from functools import cache
from typing import Final

from django.db import connection

from records.bulk.rows import columns_of, member_columns
from records.kinds import Kind
from records.services.recording import MODELS

#: Who sent the lines, the same for all of a request.
PROVENANCE: Final = ("recorded_by_id", "api_key_id", "app_name", "imported_from_id")
#: What tells whether two records say the same.
_PLACED: Final = ("vine_id", "block_id", "observed_at", "season")


_LENGTH: Final = re.compile(r"\([0-9, ]+\)")


@dataclass(frozen=True)
class Statements:
    """What is done with the lines of one kind; each takes its parameters by name."""

    make: str
    empty: str
    copy: str
    insert: str
    insert_few: str
    insert_new: str
    not_as_first_sent: str
    standing: str
    said: str
    broken: str
    lock: str
    update: str
    filled: tuple[str, ...]
    content: tuple[str, ...]


@cache
def statements_of(kind: Kind) -> Statements:
    """Give the statements of a kind."""
    table, incoming = kind.name, f"incoming_{kind.name}"
    columns = columns_of(kind)
    content = (*_PLACED, "observed_offset_minutes", *member_columns(kind), "note", "device")
    said = (*_PLACED, *member_columns(kind), "note", "device")
    listed = ", ".join(_quoted(name) for name in ("id", *content, "line_digest"))
    row = f"""
        SELECT %(farm)s::uuid AS farm_id, {listed}, %(recorded_by_id)s::uuid AS recorded_by_id,
               %(api_key_id)s::uuid AS api_key_id, %(app_name)s AS app_name, '' AS created_digest,
               %(source)s AS source, %(imported_from)s::uuid AS imported_from_id, 1 AS version
        FROM {incoming}
    """
    into = f"farm_id, {listed}, recorded_by_id, api_key_id, app_name, created_digest, source, imported_from_id, version"
    few = row.replace(f"FROM {incoming}", f"FROM ({_taken_apart(kind, columns)}) AS {incoming}")
    same = " AND ".join(f"r.{_quoted(name)} IS NOT DISTINCT FROM i.{_quoted(name)}" for name in said)
    return Statements(
        make=f"CREATE TEMPORARY TABLE IF NOT EXISTS {incoming} ({_typed(kind, columns)}) ON COMMIT DELETE ROWS",
        empty=f'DELETE FROM "{incoming}"',  # to truncate takes longer than to copy the next part
        copy=f"COPY {incoming} ({', '.join(_quoted(name) for name in columns)}) FROM STDIN",
        insert=f'INSERT INTO "{table}" ({into}) {row}',
        insert_few=f'INSERT INTO "{table}" ({into}) {few}',
        insert_new=f'INSERT INTO "{table}" ({into}) {row} ON CONFLICT DO NOTHING RETURNING id',
        # Which lines are not on record as first sent; the version tells of a change since, none that it is not there.
        not_as_first_sent=f"""
            SELECT i.at, r.version
            FROM unnest(%(ids)s::uuid[], %(digests)s::uuid[]) WITH ORDINALITY AS i(id, digest, at)
            LEFT JOIN LATERAL (  -- OFFSET 0: one look into the key for each line, never a hash of the whole table
                SELECT version FROM "{table}" WHERE farm_id = %(farm)s AND id = i.id AND line_digest = i.digest
                AND withdrawn_at IS NULL OFFSET 0
            ) AS r ON true
            WHERE r.version IS DISTINCT FROM 1
        """,
        standing=f"""
            SELECT i.id, r.id IS NOT NULL, r.version, r.withdrawn_at IS NOT NULL,
                   (r.line_digest = i.line_digest) IS TRUE, {same}, i.base_version
            FROM {incoming} i LEFT JOIN "{table}" r ON r.farm_id = %(farm)s AND r.id = i.id
        """,
        said=f"SELECT {', '.join(_quoted(name) for name in said)} FROM {incoming} WHERE id = %(id)s",
        broken=_broken(table, row),
        lock=f"""
            SELECT count(*) FROM (SELECT 1 FROM "{table}" WHERE farm_id = %(farm)s AND id = ANY(%(ids)s::uuid[])
            ORDER BY id FOR NO KEY UPDATE) AS locked
        """,
        update=f"""
            UPDATE "{table}" r SET {", ".join(f"{_quoted(name)} = i.{_quoted(name)}" for name in content)},
                line_digest = i.line_digest, version = r.version + 1, changed_at = now()
            FROM {incoming} i
            WHERE r.farm_id = %(farm)s AND r.id = i.id AND r.id = ANY(%(ids)s::uuid[]) AND r.withdrawn_at IS NULL
              AND (i.base_version IS NULL OR i.base_version = r.version) AND NOT ({same})
            RETURNING r.id, r.version
        """,
        filled=("farm_id", "id", *content, "line_digest", *PROVENANCE, "created_digest", "source", "version"),
        content=said,
    )


def _quoted(name: str) -> str:
    return f'"{name}"'


def _typed(kind: Kind, columns: tuple[str, ...]) -> str:
    types = _types(kind)
    return ", ".join(f"{_quoted(name)} {types.get(name, 'integer')}" for name in columns)


def _types(kind: Kind) -> dict[str, str]:
    fields = MODELS[kind.name]._meta.concrete_fields  # noqa: SLF001
    return {str(field.column): field.db_type(connection) or "" for field in fields}


def _taken_apart(kind: Kind, columns: tuple[str, ...]) -> str:
    """Read lines from one text as COPY reads them, but for its escapes: a line that has any is copied.

    The types are without their lengths here, because a cast to ``varchar(20)`` cuts off what is longer, and the column
    itself refuses it.
    """
    types = {name: _LENGTH.sub("", each).replace("varchar", "text") for name, each in _types(kind).items()}
    taken = (f"c[{at}]::{types.get(name, 'integer')} AS {_quoted(name)}" for at, name in enumerate(columns, 1))
    return f"""
        SELECT {", ".join(taken)} FROM string_to_table(%(lines)s, E'\\n') AS line,
        string_to_array(line, E'\\t', '\\N') AS apart(c)
    """


def _broken(table: str, row: str) -> str:
    """Ask the table's own checks which of the lines break which, as one statement to be completed by the catalogue."""
    return f"SELECT id, broken FROM (SELECT id, ({{broken}}) AS broken FROM ({row}) AS {_quoted(table)}) AS asked \
        WHERE broken IS NOT NULL"


CHECKS_OF: Final = """
    SELECT conname, pg_get_expr(conbin, conrelid) FROM pg_constraint
    WHERE conrelid = %s::regclass AND contype = 'c' AND NOT EXISTS (
        SELECT FROM unnest(conkey) AS key(number) JOIN pg_attribute ON attrelid = conrelid AND attnum = key.number
        WHERE attname <> ALL (%s)
    ) ORDER BY conname
"""
