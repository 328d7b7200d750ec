"""Migrate beside people who work: never make them queue behind us, try again instead, and finish what was interrupted.

A statement that waits for a lock lets everybody after it wait, too.  So a migration's session gives up after two
seconds (``vineyard.database_owner``), the migration is undone whole, and is tried again a little later.  An index that
is built CONCURRENTLY is the exception: it waits for others without stopping them, and cannot be undone by a
transaction, so it may wait, and what an interrupted run left of it is taken away or kept.
"""

from __future__ import annotations

import re
import time
from collections.abc import Callable
from typing import Any, Final

from django.core.management import CommandError
from django.db import OperationalError
from django.db.backends.base.base import BaseDatabaseWrapper

ATTEMPTS: Final = 6
#: Between two attempts [s]; a request's transaction is over by then.
PAUSE_SECONDS: Final = 3.0
_LOCK_NOT_AVAILABLE: Final = "55P03"
_TOO_LONG: Final = "57014"
_BUILDS: Final = re.compile(r'\s*CREATE\s+(?:UNIQUE\s+)?INDEX\s+CONCURRENTLY\s+(?:IF NOT EXISTS\s+)?"?(\w+)"?', re.I)
_BESIDE_OTHERS: Final = re.compile(r"\s*(CREATE|DROP|REINDEX)\b.*\bCONCURRENTLY\b", re.I | re.S)


def with_patience(migrate: Callable[[], None], say: Callable[[str], object]) -> None:
    """Migrate; where somebody holds a lock that it takes, try again a few times.

    Raises
    ------
    CommandError
        The lock stayed taken, or one statement took longer than it may.
    """
    for attempt in range(1, ATTEMPTS + 1):
        try:
            migrate()
        except OperationalError as error:
            code = getattr(error.__cause__, "sqlstate", None)
            if code == _TOO_LONG:
                raise CommandError("A statement of a migration took longer than an hour, and was undone.") from error
            if code != _LOCK_NOT_AVAILABLE:
                raise
            if attempt == ATTEMPTS:
                raise CommandError(
                    f"Another session held a lock that a migration needs, {ATTEMPTS} times. Nothing of that migration "
                    "was done. Find it in pg_stat_activity, let it end, and migrate again."
                ) from error
            say(
                f"Another session holds a lock that a migration needs; nobody is kept waiting for it. Trying again in "
                f"{PAUSE_SECONDS:g} s ({attempt} of {ATTEMPTS - 1})."
            )
            time.sleep(PAUSE_SECONDS)
        else:
            return


class BesideOthers:
    """Lets statements that work CONCURRENTLY wait, and finishes an index that an interrupted run began."""

    def __init__(self, connection: BaseDatabaseWrapper) -> None:
        self.connection = connection

    def __call__(self, execute: Callable[..., Any], sql: Any, params: Any, many: bool, context: Any) -> Any:
        text = str(sql)
        if not _BESIDE_OTHERS.match(text):
            return execute(sql, params, many, context)
        builds = _BUILDS.match(text)
        self._ask("SET lock_timeout = 0")
        try:
            if builds and self._is_there(builds[1]):
                return None
            return execute(sql, params, many, context)
        finally:
            self._ask("RESET lock_timeout")

    def _is_there(self, name: str) -> bool:
        """Tell whether the index was built already; one that was only begun is taken away."""
        found = self._ask("SELECT indisvalid FROM pg_index WHERE indexrelid = to_regclass(quote_ident(%s))", name)
        if found and not found[0]:
            self._ask(f"DROP INDEX CONCURRENTLY {self.connection.ops.quote_name(name)}")
            return False
        return bool(found)

    def _ask(self, sql: str, *params: str) -> Any:
        """Ask beside the statement at hand, without coming back here."""
        session = self.connection.connection
        if session is None:
            raise OperationalError("the connection is closed")
        with self.connection.wrap_database_errors, session.cursor() as cursor:
            cursor.execute(sql, params or None)
            return cursor.fetchone() if cursor.description else None
