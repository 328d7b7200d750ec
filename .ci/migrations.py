"""Hold the migrations of this release to what a populated, serving database can take.

Their SQL, as Django would send it, goes through squawk.  A table made in the same release is empty, so anything may be
done to it; on a table that stood before, nothing may rewrite or scan it under a lock that stops others: indexes are
built CONCURRENTLY, constraints come NOT VALID and are validated later, a new column is nullable or has a constant
default, no type changes.  A migration that must break a rule says why, rule by rule::

    safe_because = {"changing-column-type": "varchar(40) to varchar(80) rewrites nothing"}

After a release, move RELEASED on.
"""

from __future__ import annotations

import json
import os
import re
import secrets
import subprocess
import sys
import tempfile
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path
from typing import Any, Final

ROOT: Final = Path(__file__).resolve().parent.parent
#: The last migration of each app that has been released; what comes after is looked at.
RELEASED: Final = {"records": "0002_walls_between_farms", "balance": "0002_walls_between_farms"}
#: Matters of taste, and what the session that migrates sees to itself (vineyard/database_owner.py).
NOT_ASKED: Final = (
    "ban-concurrent-index-creation-in-transaction",  # all is shown as one transaction here; Django refuses it itself
    "ban-drop-constraint",
    "prefer-bigint-over-int",
    "prefer-bigint-over-smallint",
    "prefer-identity",
    "prefer-robust-stmts",
    "prefer-text-field",
    "require-lock-timeout",
    "require-statement-timeout",
    "require-timeout-settings",
)


def new_migrations(released: Mapping[str, str]) -> Iterator[tuple[Any, str]]:
    """Carry out each migration since the last release, on a database at that release; give ours with its SQL."""
    from django.db import connection
    from django.db.migrations.executor import MigrationExecutor

    executor = MigrationExecutor(connection)
    executor.migrate(list(released.items()))
    executor.loader.build_graph()
    for migration, _ in executor.migration_plan(executor.loader.graph.leaf_nodes()):
        heard = Heard()
        with connection.execute_wrapper(heard):
            executor.migrate([(migration.app_label, migration.name)])
        executor.loader.build_graph()
        if is_ours(migration):
            yield migration, ";\n".join(heard.statements)


class Heard:
    """Keeps what a migration sends to the database, but for what it only asks or writes into rows."""

    def __init__(self) -> None:
        self.statements: list[str] = []

    def __call__(self, execute: Any, sql: Any, params: Any, many: bool, context: Any) -> Any:
        if not params and not _ROWS.match(str(sql)):
            self.statements.append(str(sql).strip().rstrip(";"))
        return execute(sql, params, many, context)


_ROWS: Final = re.compile(r"\s*(SELECT|INSERT|UPDATE|DELETE|SET CONSTRAINTS)\b", re.IGNORECASE)


def is_ours(migration: Any) -> bool:
    """Tell whether a migration lies in this repository."""
    file = getattr(sys.modules[type(migration).__module__], "__file__", "") or ""
    return Path(file).is_relative_to(ROOT) and ".venv" not in Path(file).parts


def findings(migrations: list[tuple[Any, str]]) -> Iterator[str]:
    """Ask squawk about all of them at once, so that it knows which tables are new, and say what it objects to."""
    lines: list[str] = ["BEGIN;"]
    owners: list[Any] = [None]
    for migration, sql in migrations:
        for line in f"{sql};".splitlines():
            lines.append(line)
            owners.append(migration)
    lines.append("COMMIT;")
    owners.append(None)
    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder) / "release.sql"
        file.write_text("\n".join(lines) + "\n", encoding="utf-8")
        squawk = Path(sys.executable).with_name("squawk")
        words = ["--reporter", "json", "--pg-version", "18", f"--exclude={','.join(NOT_ASKED)}", str(file)]
        ended = subprocess.run([str(squawk), *words], capture_output=True, text=True, check=False)
    if ended.returncode not in {0, 1} or not ended.stdout.strip().startswith("["):
        raise SystemExit(f"squawk failed: {ended.stderr or ended.stdout}")
    new_tables = set(_CREATES.findall("\n".join(lines)))
    for found in json.loads(ended.stdout):
        line, rule = min(found["line"], len(lines) - 1), found["rule_name"]
        if rule in getattr(owners[line], "safe_because", {}) or _changed_at(lines, line) in new_tables:
            continue
        name = f"{owners[line].app_label}.{owners[line].name}" if owners[line] else "the release"
        yield f"{name}: {rule}: {found['message']}\n    {lines[line].strip()[:160]}"


def _changed_at(lines: list[str], line: int) -> str:
    """Give the table of the ALTER TABLE that a line belongs to; a clause may stand some lines below it."""
    begun = (found for place in range(line, max(line - 20, 0), -1) if (found := _CHANGES.match(lines[place])))
    return next((found[1] for found in begun), "")


#: squawk knows a new table when an index or a constraint is added, but not when a column is.
_CREATES: Final = re.compile(r'CREATE TABLE "?(\w+)"?')
_CHANGES: Final = re.compile(r'\s*ALTER TABLE "?(\w+)"?')


@contextmanager
def empty_database() -> Iterator[None]:
    """Bring up a database of our own, as the role that owns the tables."""
    sys.path.insert(0, str(ROOT))
    from vineyard.stack import Stack

    for name in [name for name in os.environ if name.endswith("_FILE")]:
        del os.environ[name]
    with tempfile.TemporaryDirectory(prefix="vineyard-migrations-") as folder:
        Path(folder).chmod(0o755)
        with Stack(Path(folder), fast=True) as stack:
            os.environ.update(stack.environment())
            os.environ |= {"SECRET_KEY": secrets.token_hex(32), "DJANGO_SETTINGS_MODULE": "vineyard.settings"}
            import django

            django.setup()
            from vineyard.database_owner import as_owner

            with as_owner():
                yield


def main() -> int:
    """Say what is unsafe, and answer with the exit status."""
    with empty_database():
        migrations = list(new_migrations(RELEASED))
    told = list(findings(migrations))
    for finding in told:
        print(finding)
    print(f"{len(migrations)} migrations since the last release, {len(told)} findings")
    return 1 if told else 0


if __name__ == "__main__":
    sys.exit(main())
