"""What is counted, for Prometheus: by route, method and outcome, never by an id.

The API's processes count each for itself, in files of one folder that any of them can add up (multi-process mode of
prometheus-client).  The folder is new at every start.  What a process counted before it died goes on counting: its
files are folded into one, so that processes which come and go leave no heap of them.  Whatever has a present state
(jobs that wait, the feed) is asked of the database when somebody looks, with bounded queries.
"""

from __future__ import annotations

import fcntl
import os
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any, Final

from django.conf import settings
from django.dispatch import receiver

# The client decides at its import whether it counts in files.
if settings.METRICS_FOLDER:
    Path(settings.METRICS_FOLDER).mkdir(parents=True, exist_ok=True)
    os.environ["PROMETHEUS_MULTIPROC_DIR"] = settings.METRICS_FOLDER
else:
    os.environ.pop("PROMETHEUS_MULTIPROC_DIR", None)

from prometheus_client import REGISTRY, CollectorRegistry, Counter, Histogram, generate_latest
from prometheus_client.mmap_dict import MmapedDict
from prometheus_client.multiprocess import MultiProcessCollector

from balance.summaries.signals import summary_read
from records.signals import job_ended, rows_taken_in
from vineyard.limits import limited

METHODS: Final = {"GET", "HEAD", "POST", "PUT", "PATCH", "DELETE", "OPTIONS"}
#: The number under which dead processes are kept together; no process has it.
THE_DEAD: Final = 0

REQUESTS: Final = Counter("vineyard_requests", "Requests that were answered.", ["route", "method", "status"])
SECONDS: Final = Histogram(
    "vineyard_request_seconds",
    "How long requests took to answer.",
    ["route", "method"],
    buckets=(0.005, 0.01, 0.025, 0.05, 0.1, 0.25, 0.5, 1, 2.5, 5, 10, 30),
)
ROWS: Final = Counter("vineyard_rows", "Rows that came in bulk or in files, by what became of them.", ["outcome"])
JOBS_ENDED: Final = Counter("vineyard_jobs_ended", "Jobs that came to an end.", ["kind", "state"])
DEPRECATED: Final = Counter(
    "vineyard_deprecated_requests", "Requests that used what is deprecated.", ["route", "method", "what"]
)
LIMITED: Final = Counter(
    "vineyard_rate_limited", "Requests that a limit refused, or could not count.", ["limit", "outcome"]
)

SUMMARY_READS: Final = Counter(
    "vineyard_summary_reads", "Reads of summaries: from the replica, or why from the primary.", ["outcome"]
)


def method_of(method: str | None) -> str:
    """Give the method, or one word for all that somebody may invent."""
    return method if method in METHODS else "other"


def count_request(route: str, method: str, status: int, seconds: float | None, *, number: int = 1) -> None:
    """Count and time one request, or so many that were carried out as one."""
    REQUESTS.labels(route, method, f"{status // 100}xx").inc(number)
    for _ in range(number if seconds is not None else 0):
        SECONDS.labels(route, method).observe(seconds or 0.0)


def count_rows(outcome: str, number: int) -> None:
    """Count rows of a bulk request or a file by what became of them."""
    ROWS.labels(outcome).inc(number)


def count_deprecated(route: str, method: str, what: str) -> None:
    """Count a request that used what is deprecated, by its name in the registry of deprecations."""
    DEPRECATED.labels(route, method, what).inc()


def count_limited(limit: str, outcome: str = "refused") -> None:
    """Count a request that a limit refused, or (``uncounted``) that passed because the limiter's store is away."""
    LIMITED.labels(limit, outcome).inc()


@receiver(rows_taken_in)
def _rows_taken_in(outcome: str, number: int, **_: Any) -> None:
    count_rows(outcome, number)


@receiver(limited)
def _limited(limit: str, outcome: str, **_: Any) -> None:
    count_limited(limit, outcome)


@receiver(summary_read)
def _summary_read(outcome: str, **_: Any) -> None:
    SUMMARY_READS.labels(outcome).inc()


@receiver(job_ended)
def _job_ended(kind: str, state: str, **_: Any) -> None:
    JOBS_ENDED.labels(kind, state).inc()


def exposition() -> bytes:
    """Give everything in Prometheus' text form: the counts of all processes, and the state of now."""
    from vineyard.present_state import PresentState  # noqa: PLC0415 - asks the database; this module does not

    registry = CollectorRegistry()
    registry.register(PresentState())
    if not settings.METRICS_FOLDER:
        return generate_latest(REGISTRY) + generate_latest(registry)
    with _held(fcntl.LOCK_SH):
        # Not of the lasting registry: it would add this process's own counts once more.
        MultiProcessCollector(registry, path=settings.METRICS_FOLDER)  # type: ignore[no-untyped-call]
        return generate_latest(registry)


def fold_the_dead() -> None:
    """Add the counts of processes that are gone into one file of each kind, and remove theirs."""
    if not settings.METRICS_FOLDER:
        return
    with _held(fcntl.LOCK_EX) as folder:
        for file in sorted(folder.glob("*_*.db")):
            kind, _, number = file.stem.rpartition("_")
            if kind in {"counter", "histogram"} and int(number) != THE_DEAD and not _lives(int(number)):
                _fold(file, folder / f"{kind}_{THE_DEAD}.db")


def _fold(file: Path, into: Path) -> None:
    kept = MmapedDict(str(into))  # type: ignore[no-untyped-call]
    try:
        for key, value, _, _ in MmapedDict.read_all_values_from_file(str(file)):  # type: ignore[no-untyped-call]
            before, _ = kept.read_value(key)  # type: ignore[no-untyped-call]
            kept.write_value(key, before + value, 0.0)  # type: ignore[no-untyped-call]
    finally:
        kept.close()  # type: ignore[no-untyped-call]
    file.unlink()


def _lives(pid: int) -> bool:
    try:
        os.kill(pid, 0)
    except ProcessLookupError:
        return False
    except PermissionError:
        return True
    return True


@contextmanager
def _held(manner: int) -> Iterator[Path]:
    """Hold the folder: nobody folds while somebody reads."""
    folder = Path(settings.METRICS_FOLDER)
    with (folder / "lock").open("a") as lock:
        fcntl.flock(lock, manner)
        yield folder
