"""Restore a backup: into an empty database, or in place of one that is kept until the restored one is found equal."""

from __future__ import annotations

import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any, Final

import psycopg
from django.conf import settings
from django.core.management import call_command
from django.db import connections
from django.db.migrations.loader import MigrationLoader

from vineyard.backup import BackupError
from vineyard.backup.after_restore import erasures_on_record, run_hooks
from vineyard.backup.contents import contents_of, opened, refuse_half_blind, whole_database
from vineyard.backup.manifest import Manifest, read_manifest
from vineyard.backup.programs import Programs, programs_for
from vineyard.env import Database

#: Where the replaced tables wait until the restored ones are found equal.
KEPT: Final = "before_restore"
#: A session that was closed is gone from the server's list a moment later.
_LEAVING_SECONDS: Final = 3.0


@dataclass(frozen=True)
class Target:
    """The database that is restored into: as the role that sees everything, as its owner, and by which programs."""

    whole: Database
    owner: Database
    programs: Programs


def restore(
    file: Path, say: Callable[[str], object], *, replacing: bool = False, erasures: Sequence[bytes] = ()
) -> Manifest:
    """Restore a dump, compare it with its manifest, bring it up to this version, and do what must follow.

    ``erasures`` are lines of the log of erasures that were kept apart.

    Raises
    ------
    BackupError
        Nothing was restored; what stood in the database stands there still.
    """
    manifest = read_manifest(file)
    _refuse_unknown_migrations(manifest)
    known_erasures = list(erasures)
    with opened(whole_database()) as connection:
        target = _target(connection, manifest)
        _finish_interrupted(connection, target, say)
        if _has_tables(connection):
            if not replacing:
                raise BackupError(
                    f"The database {target.whole.name!r} is not empty. Restore into an empty one, or say --replace."
                )
            known_erasures += erasures_on_record() if _has_tables(connection, "erasure") else []
        connections.close_all()
        _refuse_company(connection, target)
        _replace_tables(connection, target, file, manifest, say)
    say("Bringing the database up to this version")
    call_command("migrate", verbosity=0, interactive=False)
    run_hooks(known_erasures, say)
    return manifest


def _refuse_unknown_migrations(manifest: Manifest) -> None:
    known = {f"{app}.{name}" for app, name in MigrationLoader(None).disk_migrations}
    unknown = [name for name in manifest.migrations if name not in known]
    if unknown:
        raise BackupError(
            f"The backup is of a newer version: this one does not know {unknown[0]}. Restore it with that version."
        )


def _target(connection: psycopg.Connection[Any], manifest: Manifest) -> Target:
    if settings.DATABASE_OWNER.host == "nowhere":
        raise BackupError("DATABASE_OWNER_URL is not set. Restored tables belong to that role.")
    refuse_half_blind(connection)
    major = connection.info.server_version // 10_000
    if manifest.postgres > major:
        raise BackupError(f"The backup is of PostgreSQL {manifest.postgres}; this server is {major}, which is older.")
    whole = whole_database()
    return Target(whole, replace(settings.DATABASE_OWNER, name=whole.name), programs_for(major))


def _has_tables(connection: psycopg.Connection[Any], name: str = "%") -> bool:
    found = connection.execute(
        "SELECT 1 FROM pg_tables WHERE schemaname = 'public' AND tablename LIKE %s LIMIT 1", [name]
    )
    return found.fetchone() is not None


def _refuse_company(connection: psycopg.Connection[Any], target: Target) -> None:
    """Refuse while anybody else is connected: they would see half of it, or write what is thrown away."""
    end = time.monotonic() + _LEAVING_SECONDS
    while (others := _others(connection)) and time.monotonic() < end:
        time.sleep(0.05)
    if others:
        raise BackupError(
            f"Other sessions are open on {target.whole.name!r}, of {', '.join(others)}. Stop the service (API, worker, "
            "scheduler) first."
        )


def _others(connection: psycopg.Connection[Any]) -> list[str]:
    found = connection.execute(
        "SELECT DISTINCT usename FROM pg_stat_activity "
        "WHERE datname = current_database() AND pid <> pg_backend_pid() AND backend_type = 'client backend'"
    )
    return [user for (user,) in found.fetchall()]


def _replace_tables(
    connection: psycopg.Connection[Any],
    target: Target,
    file: Path,
    manifest: Manifest,
    say: Callable[[str], object],
) -> None:
    _as_owner(target, f"ALTER SCHEMA public RENAME TO {KEPT}", *_NEW_SCHEMA)
    try:
        say(f"Restoring {manifest.contents.rows:,} rows of {len(manifest.contents.tables)} tables")
        arguments = ("--no-owner", "--exit-on-error", "--single-transaction", f"--dbname={target.owner.name}")
        target.programs.run("pg_restore", target.owner, *arguments, str(file))
        say("Comparing them with the manifest")
        _refuse_unequal(connection, manifest)
    except BaseException:
        say("Putting back what stood there before")
        _as_owner(target, *_PUT_BACK)
        raise
    _as_owner(target, f"DROP SCHEMA {KEPT} CASCADE")


def _refuse_unequal(connection: psycopg.Connection[Any], manifest: Manifest) -> None:
    differences = manifest.contents.differences(contents_of(connection))
    if differences:
        raise BackupError(f"What was restored is not what the manifest says. {'; '.join(differences)}.")


#: The schema belongs to whoever owns the database, as PostgreSQL itself makes it: else every later dump would make it.
_NEW_SCHEMA: Final = ("CREATE SCHEMA public", "ALTER SCHEMA public OWNER TO pg_database_owner")


_PUT_BACK: Final = ("DROP SCHEMA public CASCADE", f"ALTER SCHEMA {KEPT} RENAME TO public")


def _finish_interrupted(connection: psycopg.Connection[Any], target: Target, say: Callable[[str], object]) -> None:
    """Let what an interrupted restore had put aside stand again, unless there is something in its place by now."""
    if not connection.execute("SELECT 1 FROM pg_namespace WHERE nspname = %s", [KEPT]).fetchone():
        return
    if _has_tables(connection):
        raise BackupError(
            f"An earlier restore was interrupted: the schema {KEPT} holds what stood before it, and 'public' what came "
            "then. Look at both, drop the one that you do not want, and let the other be 'public'."
        )
    say("Putting back what an interrupted restore had put aside")
    _as_owner(target, *_PUT_BACK)


def _as_owner(target: Target, *statements: str) -> None:
    """Carry out statements as the owner, all or none."""
    try:
        with opened(target.owner) as connection, connection.transaction():
            for statement in statements:
                connection.execute(statement)
    except psycopg.Error as error:
        raise BackupError(f"The owner {target.owner.user!r} could not prepare the database: {error}") from error
