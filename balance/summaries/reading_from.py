"""Where the rows of summaries are read from, and as of when they hold.

Who may see what is decided before, on the primary, in the transaction of the request; here only rows are read.  They
come from the replica where one is set, answers and lags no more than it may; else from the primary.  The instant says
how old they are.

What was changed but not yet summed up bears a mark.  The primary settles marks before it answers; a replica cannot.
Whoever asks for one farm that has any is answered by the primary, and so sees what they have just written.  Among many
farms somebody always writes: there the rows are as old as the oldest mark says, and good for as long as that may lag.
"""

from __future__ import annotations

import uuid
from collections.abc import Callable, Collection, Iterator
from contextlib import ExitStack, contextmanager
from datetime import datetime, timedelta
from typing import Final, TypeVar

from django.conf import settings
from django.db import Error, connections, transaction
from django.db import connection as primary
from django.db.backends.base.base import BaseDatabaseWrapper

from balance.summaries import replica
from balance.summaries.keeping import settle
from balance.summaries.signals import summary_read
from records.context import set_context

Told = TypeVar("Told")
#: A read from the replica that takes longer is broken off; its statements have a limit of their own.
_LONGEST_READ_SECONDS: Final = 15.0


@contextmanager
def summary_connection(farms: Collection[uuid.UUID]) -> Iterator[tuple[BaseDatabaseWrapper, datetime]]:
    """Give the connection that the summaries of these farms are read from now, and as of when its rows hold.

    The farms are open on it, to row-level security too, and no others.  Read with SQL on the connection or with
    ``Model.objects.using(connection.alias)``; nothing is written.  The instant belongs into the answer, not into its
    ETag.

    A replica that is lost while it is read makes this raise; ``read_summaries`` does not.
    """
    outcome, opened = _on_the_replica(farms)
    summary_read.send(sender=None, outcome=outcome)
    if opened is None:
        with _on_the_primary(farms) as as_of:
            yield primary, as_of
        return
    as_of, held = opened
    with held:
        yield connections[replica.ALIAS], as_of


def read_summaries(farms: Collection[uuid.UUID], read: Callable[[BaseDatabaseWrapper, datetime], Told]) -> Told:
    """Give what ``read`` makes of the rows; where the replica is lost on the way, it reads once more on the primary."""
    used = primary
    try:
        with summary_connection(farms) as (used, as_of):
            return read(used, as_of)
    except Error as error:
        if used is primary:
            raise
        replica.broke(error)
    summary_read.send(sender=None, outcome="lost")
    with _on_the_primary(farms) as as_of:
        return read(primary, as_of)


_Opened = tuple[datetime, ExitStack]


def _on_the_replica(farms: Collection[uuid.UUID]) -> tuple[str, _Opened | None]:
    """Open a transaction on the replica that sees these farms, or say why it will not do."""
    if not replica.is_set():
        return "none", None
    bound = timedelta(seconds=settings.SUMMARIES_MAY_LAG_SECONDS)
    try:
        standing = replica.standing_now(bound)
        if standing is None:
            return "away", None
        if standing.as_of is None or not standing.is_within(bound):
            return "lagging", None
        with ExitStack() as opening:
            opening.enter_context(replica.cut_off_after(_LONGEST_READ_SECONDS))
            opening.enter_context(transaction.atomic(using=replica.ALIAS))
            set_context(using=replica.ALIAS, farms=sorted(farms))
            as_of = min([standing.as_of, *_waits_since(farms)])
            if (as_of < standing.as_of and len(farms) == 1) or standing.asked_at - as_of > bound:
                return "unsettled", None
            return "replica", (as_of, opening.pop_all())
    except Error as error:
        replica.broke(error)
        return "away", None


def _waits_since(farms: Collection[uuid.UUID]) -> list[datetime]:
    """Give since when the oldest change waits that the replica shows and that was not summed up there, if one does."""
    with connections[replica.ALIAS].cursor() as cursor:
        cursor.execute("SELECT min(marked_at) FROM block_season_mark WHERE farm_id = ANY (%s)", [list(farms)])
        (since,) = cursor.fetchone()
    return [] if since is None else [since]


@contextmanager
def _on_the_primary(farms: Collection[uuid.UUID]) -> Iterator[datetime]:
    """Open these farms on the primary, sum up what waits for it, and leave open what was open before."""
    with primary.cursor() as cursor:
        cursor.execute("SELECT current_setting('app.farms', true)")
        (before,) = cursor.fetchone()
    set_context(farms=sorted(farms))
    settle(farms)
    with primary.cursor() as cursor:
        cursor.execute("SELECT clock_timestamp()")
        (as_of,) = cursor.fetchone()
    yield as_of
    set_context(farms=before)
