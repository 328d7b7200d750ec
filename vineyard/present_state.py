"""The state of now, asked of the database when somebody looks: jobs that wait and how far the feed is behind.

Of jobs nothing but their tickets is read, which stand outside the walls between farms: two ids and a lease.
"""

from __future__ import annotations

import logging
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Final

from django.db import Error, connection
from prometheus_client.core import GaugeMetricFamily, Metric
from prometheus_client.registry import Collector

from balance.summaries import replica
from records.services.jobs import LEASE

log = logging.getLogger("vineyard.metrics")

#: Enough to see that a queue is long; counting further would cost what the service needs then.
MOST_COUNTED: Final = 10_000
#: A ticket whose lease has run out waits: for its first worker since it was asked for or due, or for another since its
#: worker died.  One whose lease ends within a lease's length is in a worker's hands; the others are not due yet.
_JOBS: Final = f"""
    WITH known AS MATERIALIZED (SELECT leased_until - now() AS ahead FROM job_ticket LIMIT {MOST_COUNTED})
    SELECT count(*) FILTER (WHERE ahead <= interval '0'),
           count(*) FILTER (WHERE ahead > interval '0' AND ahead <= %s::interval),
           count(*) FILTER (WHERE ahead > %s::interval),
           (SELECT greatest(extract(epoch FROM now() - min(leased_until)), 0)::float FROM job_ticket)
    FROM known
"""  # noqa: S608 - a number of ours
#: A change is shown once every transaction that began before it has ended, so the oldest that writes holds the feed.
_FEED: Final = """
    SELECT coalesce(max(extract(epoch FROM clock_timestamp() - xact_start)), 0)::float
    FROM pg_stat_activity
    WHERE datname = current_database() AND backend_xid IS NOT NULL AND pid <> pg_backend_pid()
"""


@dataclass(frozen=True)
class Queue:
    """How many jobs wait, run and are not due yet, and for how long the one that waits longest has done so [s]."""

    waiting: int
    running: int
    later: int
    oldest_seconds: float


def queue_now() -> Queue:
    """Look at the tickets of the jobs."""
    with connection.cursor() as cursor:
        cursor.execute(_JOBS, [f"{LEASE.total_seconds()} s"] * 2)
        waiting, running, later, oldest = cursor.fetchone()
    return Queue(waiting, running, later, oldest or 0.0)


def feed_lag_seconds() -> float:
    """Give for how long the oldest transaction that writes has held back what the feed of changes may show."""
    with connection.cursor() as cursor:
        cursor.execute(_FEED)
        return float(cursor.fetchone()[0])


class PresentState(Collector):
    """What a look at the metrics asks of the database."""

    def collect(self) -> Iterator[Metric]:
        answers = GaugeMetricFamily("vineyard_database_up", "Whether the database answered this look.")
        try:
            queue, lag = queue_now(), feed_lag_seconds()
        except Error as error:
            log.warning("no state of now in the metrics: %s", type(error).__name__)
            answers.add_metric([], 0)
            yield answers
            return
        answers.add_metric([], 1)
        yield answers
        jobs = GaugeMetricFamily("vineyard_jobs", "Jobs that are not finished.", labels=["state"])
        jobs.add_metric(["waiting"], queue.waiting)
        jobs.add_metric(["running"], queue.running)
        jobs.add_metric(["later"], queue.later)
        yield jobs
        yield GaugeMetricFamily(
            "vineyard_oldest_waiting_job_seconds",
            "How long the job that waits longest has waited.",
            queue.oldest_seconds,
        )
        yield GaugeMetricFamily(
            "vineyard_feed_lag_seconds", "How long an open transaction has held back the feed of changes.", lag
        )
        yield from _of_the_replica()


def _of_the_replica() -> Iterator[Metric]:
    """Give how the replica is, where there is one."""
    if not replica.is_set():
        return
    standing = replica.standing_if_any()
    yield GaugeMetricFamily(
        "vineyard_replica_up", "Whether the replica answered as a standby of ours.", float(standing is not None)
    )
    if standing is not None and standing.lag is not None:
        lag = max(standing.lag.total_seconds(), 0.0)
        yield GaugeMetricFamily("vineyard_replica_lag_seconds", "How old what the replica shows is.", lag)
