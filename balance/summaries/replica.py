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

log = logging.getLogger("vineyard.replica")

ALIAS: Final = "replica"
#: A replica that says nothing for so long is away.
PATIENCE_SECONDS: Final = 1.0
#: For so long nobody asks a replica that was away.
AGAIN_AFTER_SECONDS: Final = 5.0
#: A look at the primary is kept if the one before is this part of the bound older.
_KEPT_APART: Final = 100
#: How often and how long a replica that is nearly there is waited for [s].
_PAUSES: Final = (0.002, 0.005, 0.01)

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


class Silent(OperationalError):
    """The replica said nothing for longer than anybody waits."""


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

    @property
    def is_left_alone(self) -> bool:
        return time.monotonic() < self._away_until

    @contextmanager
    def asking(self) -> Iterator[bool]:
        """Tell whether to ask now; what goes wrong while asking makes it away."""
        tries = self.is_away
        if tries and (self.is_left_alone or not self._tries.acquire(blocking=False)):
            yield False
            return
        try:
            yield True
            if tries:
                log.info("the replica is back: summaries are read from it")
                self._away_until = 0.0
        except Error as error:
            self.lost(error)
            raise
        finally:
            if tries:
                self._tries.release()

    def lost(self, error: Error) -> None:
        if not self.is_away:
            log.warning("the replica is away: summaries are read from the primary (%s)", type(error).__name__)
        self._away_until = time.monotonic() + AGAIN_AFTER_SECONDS


_followed, _trust = _Followed(), _Trust()


def is_set() -> bool:
    """Tell whether this service has a replica."""
    return ALIAS in connections.settings


def standing_now(bound: timedelta) -> Standing | None:
    """Look at the replica; there is none to tell of where none is set, or where it is left alone.

    One that is within the bound, but not at the primary's present, is given a moment to come there: then whoever wrote
    something reads what they wrote.

    Raises
    ------
    Error
        It does not answer, or is no standby of ours; it is left alone from now on.
    """
    if not is_set() or _trust.is_left_alone or connections[ALIAS].in_atomic_block:
        return None
    now = _followed.look()
    with _trust.asking() as asks:
        if not asks:
            return None
        for pause in (*_PAUSES, None):
            replayed, last_commit = _asked(now.cluster)
            standing = Standing(_followed.as_of(now, replayed, last_commit), now.at)
            if pause is None or replayed >= now.flushed or not standing.is_within(bound):
                return standing
            time.sleep(pause)
    raise AssertionError("the last round returns")  # pragma: no cover


def standing_if_any() -> Standing | None:
    """Look at the replica for whoever watches; one that is away has none."""
    try:
        return standing_now(timedelta(seconds=settings.SUMMARIES_MAY_LAG_SECONDS))
    except Error:
        return None


def broke(error: Error) -> None:
    """Note that something went wrong on the replica; if its connection did, it is left alone."""
    opened = connections[ALIAS].connection
    if opened is None or opened.closed or isinstance(error, Silent):
        connections[ALIAS].close()
        _trust.lost(error)
    else:  # e.g. what was read had to give way to what the primary removed
        log.info("a read from the replica was ended (%s)", type(error).__name__)


def _asked(cluster: int) -> tuple[int, datetime | None]:
    """Ask the replica how far it is; a connection that was kept may have died since, a new one has not."""
    kept = connections[ALIAS].connection is not None
    try:
        return _asked_once(cluster)
    except Error as error:
        connections[ALIAS].close()
        if not kept or isinstance(error, Silent | NotOurs):
            raise
    return _asked_once(cluster)


def _asked_once(cluster: int) -> tuple[int, datetime | None]:
    replica = connections[ALIAS]
    replica.ensure_connection()
    with cut_off_after(PATIENCE_SECONDS), replica.cursor() as cursor:
        cursor.execute(_REPLICA)
        found = cursor.fetchone()
    if found is None or found[2] != cluster:
        raise NotOurs("the replica is no standby of the primary")
    return found[0], found[1]


@contextmanager
def cut_off_after(seconds: float) -> Iterator[None]:
    """Break the replica's connection if this takes longer: a server that is frozen ends no statement by itself."""
    opened = connections[ALIAS].connection
    if opened is None:
        raise OperationalError("the replica has not been connected to")
    line = socket.socket(fileno=os.dup(opened.fileno()))  # a number of our own: the connection may be closed meanwhile
    was_cut = threading.Event()

    def cut() -> None:
        was_cut.set()
        with suppress(OSError):
            line.shutdown(socket.SHUT_RDWR)

    timer = threading.Timer(seconds, cut)
    timer.daemon = True
    timer.start()
    try:
        yield
    except Error as error:
        if was_cut.is_set():
            raise Silent(f"the replica said nothing for {seconds} s") from error
        raise
    finally:
        timer.cancel()
        line.close()
