"""Where the rows of summaries are read from, and as of when they hold.

Who may see what is decided before, on the primary, in the transaction of the request; here only rows are read.
"""

from __future__ import annotations

import uuid
from collections.abc import Callable, Collection, Iterator
from contextlib import contextmanager
from datetime import datetime
from typing import TypeVar

from django.db import connection as primary
from django.db.backends.base.base import BaseDatabaseWrapper

from records.context import set_context

Told = TypeVar("Told")


@contextmanager
def summary_connection(farms: Collection[uuid.UUID]) -> Iterator[tuple[BaseDatabaseWrapper, datetime]]:
    """Give the connection that the summaries of these farms are read from now, and as of when its rows hold.

    The farms are open on it, to row-level security too, and no others.  Read with SQL on the connection or with
    ``Model.objects.using(connection.alias)``; nothing is written.  The instant belongs into the answer, not into its
    ETag.
    """
    set_context(farms=sorted(farms))
    with primary.cursor() as cursor:
        cursor.execute("SELECT clock_timestamp()")
        (as_of,) = cursor.fetchone()
    yield primary, as_of


def read_summaries(farms: Collection[uuid.UUID], read: Callable[[BaseDatabaseWrapper, datetime], Told]) -> Told:
    """Give what ``read`` makes of the rows; where the replica is lost on the way, it reads once more on the primary."""
    with summary_connection(farms) as (connection, as_of):
        return read(connection, as_of)
