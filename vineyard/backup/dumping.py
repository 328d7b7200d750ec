"""Make a backup: dump one snapshot, restore it beside the original, compare, and only then call it one."""

from __future__ import annotations

import os
import secrets
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, Final

import psycopg
from psycopg import sql

from vineyard.backup import BackupError
from vineyard.backup.contents import Contents, contents_of, opened, refuse_half_blind, whole_database
from vineyard.backup.manifest import Manifest, manifest_of, sha256_of
from vineyard.backup.programs import Programs, programs_for
from vineyard.env import Database

#: The database in which a dump is tried begins so; one that an interrupted backup left may be dropped.
SCRATCH: Final = "vineyard_backup_check_"


def back_up(file: Path, say: Callable[[str], object]) -> Manifest:
    """Write a verified dump and its manifest.

    Raises
    ------
    BackupError
        No backup was made; nothing is left behind.
    """
    _refuse_place(file)
    database = whole_database()
    part, manifest_part = (place.with_name(f"{place.name}.part") for place in (file, manifest_of(file)))
    try:
        manifest = _dumped(database, part, say)
        manifest.write(manifest_part)
        part.rename(file)
        manifest_part.rename(manifest_of(file))
    finally:
        for left in (part, manifest_part):
            left.unlink(missing_ok=True)
    return manifest


def _refuse_place(file: Path) -> None:
    if not file.parent.is_dir():
        raise BackupError(f"There is no folder {file.parent}. Make it first.")
    taken = next((place for place in (file, manifest_of(file)) if place.exists()), None)
    if taken:
        raise BackupError(f"{taken} exists already. A backup is never written over; choose another name.")


def _dumped(database: Database, part: Path, say: Callable[[str], object]) -> Manifest:
    with opened(database) as connection:
        refuse_half_blind(connection)
        major = connection.info.server_version // 10_000
        programs = programs_for(major)
        made_at = datetime.now(UTC).isoformat(timespec="seconds")
        with connection.transaction():
            connection.execute("SET TRANSACTION ISOLATION LEVEL REPEATABLE READ READ ONLY")
            snapshot = _first(connection, "SELECT pg_export_snapshot()")
            say(f"Reading {database.name}, as it is at {made_at}")
            contents = contents_of(connection)
            if not contents.tables:
                raise BackupError(f"The database {database.name!r} holds no table; there is nothing to back up.")
            migrations = [row[0] for row in connection.execute(_APPLIED).fetchall()]
            say(f"Dumping {contents.rows:,} rows of {len(contents.tables)} tables")
            os.close(os.open(part, os.O_CREAT | os.O_WRONLY | os.O_TRUNC, 0o600))  # its owner's alone from the start
            programs.run("pg_dump", database, "--format=custom", f"--snapshot={snapshot}", f"--file={part}")
        say("Restoring the dump beside the original, and comparing")
        _refuse_unequal(connection, database, programs, part, contents)
    return Manifest(made_at, major, migrations, contents, part.stat().st_size, sha256_of(part))


_APPLIED: Final = "SELECT app || '.' || name FROM public.django_migrations ORDER BY 1"


def _first(connection: psycopg.Connection[Any], statement: str) -> Any:
    found = connection.execute(statement).fetchone()
    return found[0] if found else None


def _refuse_unequal(
    connection: psycopg.Connection[Any], database: Database, programs: Programs, part: Path, contents: Contents
) -> None:
    with _scratch(connection, database) as scratch:
        programs.run("pg_restore", scratch, "--no-owner", "--exit-on-error", f"--dbname={scratch.name}", str(part))
        with opened(scratch) as restored:
            differences = contents.differences(contents_of(restored))
    if differences:
        raise BackupError(f"The dump is not what the database holds, and is thrown away. {'; '.join(differences)}.")


@contextmanager
def _scratch(connection: psycopg.Connection[Any], database: Database) -> Iterator[Database]:
    name = SCRATCH + secrets.token_hex(4)
    quoted = sql.Identifier(name)
    connection.execute(sql.SQL("CREATE DATABASE {} TEMPLATE template0").format(quoted))
    try:
        yield replace(database, name=name)
    finally:
        connection.execute(sql.SQL("DROP DATABASE IF EXISTS {} WITH (FORCE)").format(quoted))
