"""What a database holds, told so that two can be compared: rows and digest of every table, names of every rule."""

from __future__ import annotations

import hashlib
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import asdict, dataclass, replace
from typing import Any, Final, LiteralString

import psycopg
from django.conf import settings
from django.db import connection as serving
from psycopg import sql

from balance.formulas.counting import counted
from vineyard.backup import BackupError
from vineyard.env import Database

#: Rows are compared as text, so what decides how a value is written is the same everywhere.
_SESSION: Final = " ".join(
    f"-c {name}={value}"
    for name, value in {
        "row_security": "off",  # a policy that would hide a row is an error, never fewer rows
        "timezone": "UTC",
        "datestyle": "ISO",
        "intervalstyle": "postgres",
        "bytea_output": "hex",
        "extra_float_digits": "1",
        "search_path": "pg_catalog",
        "statement_timeout": "0",
        "lock_timeout": "10s",
        "idle_in_transaction_session_timeout": "0",
    }.items()
)
#: The md5 over the md5s of all rows, sorted.  In 4,096 parts, so that however many rows there are, no more than
#: one part's digests stand in memory; sorting spills to disk.
_DIGEST: Final = """
    SELECT coalesce(sum(number), 0)::bigint,
           md5(coalesce(string_agg(digest, '' ORDER BY part COLLATE "C"), ''))
    FROM (SELECT substr(row_digest, 1, 3) AS part, count(*) AS number,
                 md5(string_agg(row_digest, '' ORDER BY row_digest COLLATE "C")) AS digest
          FROM (SELECT md5({what}::text) AS row_digest FROM ONLY {table} AS t WHERE {which}) AS rows
          GROUP BY 1) AS parts
"""
_EVERY_ROW: Final = sql.SQL("true")
_WHOLE_ROW: Final = sql.Identifier("t")
_TABLES: Final = """
    SELECT nspname, relname FROM pg_class JOIN pg_namespace n ON n.oid = relnamespace
    WHERE relkind = 'r' AND nspname = 'public' ORDER BY 1, 2
"""
#: Names, not definitions: PostgreSQL writes some definitions otherwise once they were restored.
_RULES: Final = """
    SELECT concat_ws(' ', 'constraint', conrelid::regclass, conname, convalidated) FROM pg_constraint
        WHERE connamespace = 'public'::regnamespace
    UNION ALL SELECT concat_ws(' ', 'index', indexrelid::regclass, indisunique, indisvalid) FROM pg_index
        JOIN pg_class ON pg_class.oid = indexrelid WHERE relnamespace = 'public'::regnamespace
    UNION ALL SELECT concat_ws(' ', 'policy', polrelid::regclass, polname) FROM pg_policy
        JOIN pg_class ON pg_class.oid = polrelid WHERE relnamespace = 'public'::regnamespace
    UNION ALL SELECT concat_ws(' ', 'trigger', tgrelid::regclass, tgname) FROM pg_trigger
        JOIN pg_class ON pg_class.oid = tgrelid WHERE relnamespace = 'public'::regnamespace AND NOT tgisinternal
    UNION ALL SELECT concat_ws(' ', 'function', oid::regprocedure, prosecdef, proacl::text IS NULL) FROM pg_proc
        WHERE pronamespace = 'public'::regnamespace
    UNION ALL SELECT concat_ws(' ', 'relation', oid::regclass, relkind, relrowsecurity, relforcerowsecurity)
        FROM pg_class WHERE relnamespace = 'public'::regnamespace
"""


@dataclass(frozen=True)
class TableContent:
    """How many rows a table has, and the digest of all of them."""

    rows: int
    md5: str


@dataclass(frozen=True)
class Contents:
    """What a database holds."""

    tables: dict[str, TableContent]
    rules: int
    rules_md5: str

    def as_json(self) -> dict[str, Any]:
        return asdict(self)

    @classmethod
    def from_json(cls, told: dict[str, Any]) -> Contents:
        tables = {name: TableContent(**table) for name, table in told["tables"].items()}
        return cls(tables, told["rules"], told["rules_md5"])

    @property
    def rows(self) -> int:
        return sum(table.rows for table in self.tables.values())

    def differences(self, other: Contents) -> list[str]:
        """Name what is not the same in the other one."""
        nothing = TableContent(0, "")
        told = []
        for name in sorted(self.tables.keys() | other.tables.keys()):
            here, there = self.tables.get(name, nothing), other.tables.get(name, nothing)
            if here != there:
                told.append(f"{name}: {counted(here.rows, 'row')} against {there.rows}, or others")
        if (self.rules, self.rules_md5) != (other.rules, other.rules_md5):
            told.append(f"constraints, indexes, policies, triggers, functions: {self.rules} against {other.rules}")
        return told


def whole_database() -> Database:
    """Give the address of the database as the role that sees every row of it.

    Raises
    ------
    BackupError
        No such address is set.
    """
    if settings.DATABASE_BACKUP.host == "nowhere":
        raise BackupError(
            "DATABASE_BACKUP_URL is not set. A backup needs a role that sees every row, because row-level security "
            "binds the owner, too; see 'Backup and restore' in README.md."
        )
    return replace(settings.DATABASE_BACKUP, name=serving.settings_dict["NAME"])


@contextmanager
def opened(database: Database) -> Iterator[psycopg.Connection[Any]]:
    """Open a session that sees all rows or fails.

    Raises
    ------
    BackupError
        The database does not answer.
    """
    try:
        connection = psycopg.connect(
            host=database.host,
            port=database.port or None,
            user=database.user,
            password=database.password or None,
            dbname=database.name,
            options=_SESSION,
            application_name="vineyard backup",
            connect_timeout=10,
            autocommit=True,
        )
    except psycopg.OperationalError as error:
        raise BackupError(f"The database {database.name!r} does not answer as {database.user!r}: {error}") from error
    with connection:
        yield connection


def refuse_half_blind(connection: psycopg.Connection[Any]) -> None:
    """Refuse a role that would not see every row, or cannot make the database in which a dump is tried.

    Raises
    ------
    BackupError
        With a sentence that says which right is missing.
    """
    found = connection.execute(
        "SELECT rolname, rolsuper OR rolbypassrls, rolsuper OR rolcreatedb FROM pg_roles WHERE rolname = current_user"
    ).fetchone()
    role, sees_all, makes_databases = found or ("", False, False)
    missing = [right for held, right in ((sees_all, "BYPASSRLS"), (makes_databases, "CREATEDB")) if not held]
    if missing:
        raise BackupError(
            f"DATABASE_BACKUP_URL connects as {role!r}, which lacks {' and '.join(missing)}: it would not see every "
            "row, or could not try the dump. See 'Backup and restore' in README.md for the role that it takes."
        )


def contents_of(connection: psycopg.Connection[Any]) -> Contents:
    """Read every table once and say what is there."""
    tables = {name: _table(connection, schema, name) for schema, name in connection.execute(_TABLES).fetchall()}
    rules = [rule for (rule,) in connection.execute(_RULES).fetchall()]
    return Contents(tables, len(rules), hashlib.md5("\n".join(sorted(rules)).encode()).hexdigest())  # noqa: S324


def digest_of_columns(
    connection: psycopg.Connection[Any], table: str, columns: list[str], which: LiteralString = "true"
) -> TableContent:
    """Say the same of some columns, and of the rows for which a condition holds."""
    listed = sql.SQL(", ").join(sql.Identifier("t", column) for column in columns)
    return _table(connection, "public", table, sql.SQL("ROW({})").format(listed), sql.SQL(which))


def _table(
    connection: psycopg.Connection[Any],
    schema: str,
    name: str,
    what: sql.Composable = _WHOLE_ROW,
    which: sql.SQL = _EVERY_ROW,
) -> TableContent:
    statement = sql.SQL(_DIGEST).format(what=what, which=which, table=sql.Identifier(schema, name))
    found = connection.execute(statement).fetchone()
    return TableContent(*(found or (0, "")))
