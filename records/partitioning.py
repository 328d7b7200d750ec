"""The tables of annual records, split by season: what turns one that stands into a partitioned one, as SQL.

What stands becomes the first partition as it is, so no row is written anew; seasons from a given one on get a
partition each.  PostgreSQL wants the season in every unique key of such a table, and then an id would be free again in
another season.  So a register of ids stands beside each table, kept by triggers: an id belongs to one season at a
time, and references to a record point there.  What a reader sees, what a writer may write and what triggers keep stays
as it was; everything is taken from the catalogue of the database itself.

No release has converted a table yet: DEVELOPERS.md says when it pays.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Final

from django.db.backends.base.base import BaseDatabaseWrapper

from records.grants import EVERYTHING, LESS

#: Seasons that get a partition of their own ahead of time.
SEASONS_AHEAD: Final = 3
_CONSTRAINTS: Final = """
    SELECT conname, pg_get_constraintdef(oid) FROM pg_constraint
    WHERE conrelid = %s::regclass AND contype = %s ORDER BY conname
"""
_INDEXES: Final = """
    SELECT i.relname, pg_get_indexdef(i.oid) FROM pg_index x JOIN pg_class i ON i.oid = x.indexrelid
    WHERE x.indrelid = %s::regclass AND NOT x.indisprimary ORDER BY i.relname
"""
_TRIGGERS: Final = """
    SELECT tgname, pg_get_triggerdef(oid) FROM pg_trigger WHERE tgrelid = %s::regclass AND NOT tgisinternal ORDER BY 1
"""
_POLICIES: Final = "SELECT policyname, qual, with_check FROM pg_policies WHERE tablename = %s ORDER BY 1"
_POINTING_HERE: Final = """
    SELECT conrelid::regclass::text, conname, pg_get_constraintdef(oid) FROM pg_constraint
    WHERE confrelid = %s::regclass AND contype = 'f' AND conparentid = 0 ORDER BY 1, 2
"""
REGISTER_FUNCTIONS: Final = """
CREATE OR REPLACE FUNCTION register_ids() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
    EXECUTE format('INSERT INTO %I (farm_id, id, season) SELECT farm_id, id, season FROM fresh',
                   TG_TABLE_NAME || '_id');
    RETURN NULL;
END $$;
CREATE OR REPLACE FUNCTION move_registered_ids() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
    EXECUTE format('UPDATE %I AS r SET season = f.season FROM fresh f '
                   'WHERE r.farm_id = f.farm_id AND r.id = f.id AND r.season <> f.season', TG_TABLE_NAME || '_id');
    RETURN NULL;
END $$;
CREATE OR REPLACE FUNCTION forget_registered_ids() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
    EXECUTE format('DELETE FROM %I AS r USING gone g WHERE r.farm_id = g.farm_id AND r.id = g.id',
                   TG_TABLE_NAME || '_id');
    RETURN NULL;
END $$"""

#: A key that is met is known by its name (``records.services.storing.constraint_of``).
_NAME_INDEXES: Final = """DO $$
DECLARE
    child record;
BEGIN
    FOR child IN
        SELECT own.relname AS now, whole.relname || '__{season}' AS wanted
        FROM pg_index x JOIN pg_inherits h ON h.inhrelid = x.indexrelid
        JOIN pg_class own ON own.oid = h.inhrelid JOIN pg_class whole ON whole.oid = h.inhparent
        WHERE x.indrelid = '"{name}"'::regclass
    LOOP
        EXECUTE format('ALTER INDEX %I RENAME TO %I', child.now, child.wanted);
    END LOOP;
END $$"""


@dataclass(frozen=True)
class Standing:
    """What a table has that its partitioned form must have, too, each by name and definition."""

    table: str
    indexes: list[tuple[str, str]]
    references: list[tuple[str, str]]
    triggers: list[tuple[str, str]]
    policies: list[tuple[str, str, str]]
    pointing_here: list[tuple[str, str, str]]

    @classmethod
    def of(cls, table: str, connection: BaseDatabaseWrapper) -> Standing:
        with connection.cursor() as cursor:

            def asked(sql: str, *arguments: str) -> list[tuple[str, ...]]:
                cursor.execute(sql, [table, *arguments])
                return list(cursor.fetchall())

            return cls(
                table,
                indexes=asked(_INDEXES),  # type: ignore[arg-type]
                references=asked(_CONSTRAINTS, "f"),  # type: ignore[arg-type]
                triggers=asked(_TRIGGERS),  # type: ignore[arg-type]
                policies=asked(_POLICIES),  # type: ignore[arg-type]
                pointing_here=asked(_POINTING_HERE),  # type: ignore[arg-type]
            )


def conversion(table: str, first: int, role: str, connection: BaseDatabaseWrapper) -> list[str]:
    """Give the statements that split a table, which run in one transaction, as its owner; ``role`` serves.

    All before the season ``first`` stays together; it and some later ones get a partition each.
    """
    standing = Standing.of(table, connection)
    return [
        *_register(standing),
        *_set_aside(standing, first),
        *_root(standing, first),
        *(sql for season in range(first, first + SEASONS_AHEAD) for sql in partition(table, season)),
        f'REVOKE ALL ON "{table}_before_{first}" FROM "{role}"',
        *_walls(standing, role),
    ]


def partition(table: str, season: int) -> list[str]:
    """Give the statements that open a partition for one season; nobody reads it but through the table."""
    name = f"{table}_{season}"
    return [
        f'CREATE TABLE "{name}" PARTITION OF "{table}" FOR VALUES FROM ({season}) TO ({season + 1})',
        f'ALTER TABLE "{name}" ENABLE ROW LEVEL SECURITY, FORCE ROW LEVEL SECURITY',
        _NAME_INDEXES.format(name=name, season=season),
    ]


def _register(standing: Standing) -> Iterator[str]:
    table = standing.table
    yield REGISTER_FUNCTIONS
    yield f'ALTER TABLE "{table}" NO FORCE ROW LEVEL SECURITY'  # or its owner would find it empty
    yield (
        f'CREATE TABLE "{table}_id" (farm_id uuid NOT NULL, id uuid NOT NULL, season smallint NOT NULL, '
        f'CONSTRAINT "{table}_id_pkey" PRIMARY KEY (farm_id, id))'
    )
    yield f'INSERT INTO "{table}_id" SELECT farm_id, id, season FROM "{table}"'  # noqa: S608 - our own names
    for other, name, _ in standing.pointing_here:
        yield f'ALTER TABLE {other} DROP CONSTRAINT "{name}"'


def _set_aside(standing: Standing, first: int) -> Iterator[str]:
    """Make what stands fit to be a partition; its names are wanted for the table itself."""
    table, old = standing.table, f"{standing.table}_before_{first}"
    for name, _ in standing.triggers:
        yield f'DROP TRIGGER "{name}" ON "{table}"'
    for policy, *_ in standing.policies:
        yield f'DROP POLICY "{policy}" ON "{table}"'
    yield f'ALTER TABLE "{table}" RENAME TO "{old}"'
    for name, _ in standing.indexes:
        yield f'ALTER INDEX "{name}" RENAME TO "{name}__before_{first}"'
    yield (
        f'ALTER TABLE "{old}" DROP CONSTRAINT "{table}_pkey", '
        f'ADD CONSTRAINT "{table}_pkey__before_{first}" PRIMARY KEY (farm_id, id, season), '
        f'ADD CONSTRAINT "{old}_season" CHECK (season < {first})'
    )
    yield f'ALTER TABLE "{old}" FORCE ROW LEVEL SECURITY'


def _root(standing: Standing, first: int) -> Iterator[str]:
    table, old = standing.table, f"{standing.table}_before_{first}"
    yield (f'CREATE TABLE "{table}" (LIKE "{old}" INCLUDING ALL EXCLUDING INDEXES) PARTITION BY RANGE (season)')
    yield f'ALTER TABLE "{table}" DROP CONSTRAINT "{old}_season"'
    yield f'ALTER TABLE "{table}" ADD CONSTRAINT "{table}_pkey" PRIMARY KEY (farm_id, id, season)'
    yield from (definition for _, definition in standing.indexes)
    for name, definition in standing.references:
        yield f'ALTER TABLE "{table}" ADD CONSTRAINT "{name}" {definition}'
    yield f'ALTER TABLE "{table}" ATTACH PARTITION "{old}" FOR VALUES FROM (MINVALUE) TO ({first})'


def _walls(standing: Standing, role: str) -> Iterator[str]:
    """Put back who sees and writes what, and what triggers keep; ids are registered by triggers, too."""
    table, sees = standing.table, "farm_id = ANY ((SELECT context_farms())::uuid[])"
    for guarded in (table, f"{table}_id"):
        yield f'ALTER TABLE "{guarded}" ENABLE ROW LEVEL SECURITY, FORCE ROW LEVEL SECURITY'
    yield f'CREATE POLICY "{table}_id_of_the_context" ON "{table}_id" USING ({sees}) WITH CHECK ({sees})'
    for policy, using, check in standing.policies:
        yield f'CREATE POLICY "{policy}" ON "{table}" USING ({using}) WITH CHECK ({check})'
    yield f'GRANT {LESS.get(table, EVERYTHING)} ON "{table}" TO "{role}"'
    yield f'GRANT SELECT, INSERT, UPDATE ON "{table}_id" TO "{role}"'
    yield from (definition for _, definition in standing.triggers)
    for event, rows, function in (
        ("INSERT", "NEW TABLE AS fresh", "register_ids"),
        ("UPDATE", "NEW TABLE AS fresh", "move_registered_ids"),
        ("DELETE", "OLD TABLE AS gone", "forget_registered_ids"),
    ):
        yield (
            f'CREATE TRIGGER "{table}_registers_on_{event.lower()}" AFTER {event} ON "{table}" REFERENCING {rows} '
            f"FOR EACH STATEMENT EXECUTE FUNCTION {function}()"
        )
    for other, name, definition in standing.pointing_here:
        yield f'ALTER TABLE {other} ADD CONSTRAINT "{name}" ' + definition.replace(
            f"REFERENCES {table}(", f"REFERENCES {table}_id("
        )
