"""The replica that summaries may be read from: whether it answers, whether it is ours, and as of when its rows hold.

A replica replays the primary's log.  Whatever was visible on the primary at an instant stands in the log before the
place up to which the log was flushed at that instant; so a replica that has replayed up to there shows all of it, and
what it shows is as old as that look at the primary, by the primary's clock.  The time of the last replayed commit says
the same under load, but grows old where nobody writes.  The newer of the two holds.  Nothing is written for this, and
no two clocks are compared.  It wants ``synchronous_commit`` on, which is PostgreSQL's default.

A replica that is away costs one look: others do without it meanwhile, and nobody looks again for some seconds.
"""

from __future__ import annotations

import logging
import os
import socket
import threading
import time
from collections import deque
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Final

from django.conf import settings
from django.db import Error, OperationalError, connections
from django.db import connection as primary
from django.db.backends.base.base import BaseDatabaseWrapper

log = logging.getLogger("vineyard.replica")

ALIAS: Final = "replica"
#: A replica that says nothing for so long is away.
PATIENCE_SECONDS: Final = 1.0
#: For so long nobody asks a replica that was away.
AGAIN_AFTER_SECONDS: Final = 5.0
#: A look at the primary is kept if the one before is this part of the bound older.
_KEPT_APART: Final = 100

_PRIMARY: Final = """
    SELECT (pg_current_wal_flush_lsn() - '0/0'::pg_lsn)::bigint, clock_timestamp(),
           (SELECT system_identifier FROM pg_control_system())
"""
_REPLICA: Final = """
    SELECT (pg_last_wal_replay_lsn() - '0/0'::pg_lsn)::bigint, pg_last_xact_replay_timestamp(),
           (SELECT system_identifier FROM pg_control_system())
    WHERE pg_is_in_recovery()
"""


@dataclass(frozen=True)
class Look:
    """Where the log of the primary stood, by its clock, and which cluster it is."""

    flushed: int
    at: datetime
    cluster: int


@dataclass(frozen=True)
class Standing:
    """As of when the rows of the replica hold, where that is known, and when that was asked; by the primary's clock."""

    as_of: datetime | None
    asked_at: datetime

    @property
    def lag(self) -> timedelta | None:
        return None if self.as_of is None else self.asked_at - self.as_of

    def is_within(self, bound: timedelta) -> bool:
        return self.lag is not None and self.lag <= bound


class NotOurs(OperationalError):
    """What answers is no standby of the primary."""


class _Followed:
    """Where the log stood when this process looked, for as long as a replica may lag."""

    def __init__(self) -> None:
        self._looks: deque[Look] = deque(maxlen=2 * _KEPT_APART)

    def look(self) -> Look:
        with primary.cursor() as cursor:
            cursor.execute(_PRIMARY)
            now = Look(*cursor.fetchone())
        apart = timedelta(seconds=settings.SUMMARIES_MAY_LAG_SECONDS / _KEPT_APART)
        if not self._looks or now.at - self._looks[-1].at >= apart:
            self._looks.append(now)
        return now

    def as_of(self, now: Look, replayed: int, last_commit: datetime | None) -> datetime | None:
        """Give the newest instant whose every change the replica has replayed; none where this process knows none."""
        reached = [each.at for each in [now, *tuple(self._looks)] if each.flushed <= replayed]
        return max([*reached, *([last_commit] if last_commit else [])], default=None)


class _Trust:
    """Whether the replica is asked at all: one that was away is left alone for a while, and then one of us tries."""

    def __init__(self) -> None:
        self._away_until = 0.0
        self._tries = threading.Lock()

    @property
    def is_away(self) -> bool:
        return self._away_until > 0

    @contextmanager
    def asking(self) -> Iterator[bool]:
        """Tell whether to ask now; what goes wrong while asking makes it away."""
        if self.is_away and (time.monotonic() < self._away_until or not self._tries.acquire(blocking=False)):
            yield False
            return
        try:
            yield True
            self._found()
        except Error as error:
            self.lost(error)
            raise
        finally:
            with suppress(RuntimeError):  # it was not away when we began
                self._tries.release()

    def _found(self) -> None:
        if self.is_away:
            log.info("the replica is back: summaries are read from it")
        self._away_until = 0.0

    def lost(self, error: Error) -> None:
        if not self.is_away:
            log.warning("the replica is away: summaries are read from the primary (%s)", type(error).__name__)
        self._away_until = time.monotonic() + AGAIN_AFTER_SECONDS


_followed, _trust = _Followed(), _Trust()
