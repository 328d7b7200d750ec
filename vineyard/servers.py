"""The processes that serve: the API under granian, a worker, a scheduler; started as children, stopped in order."""

from __future__ import annotations

import os
import shutil
import sys
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Final

import httpx

from vineyard.listening import DEFAULT_HOST, Listening
from vineyard.stack import Children

READY_WITHIN_SECONDS: Final = 60
#: How the API is served, here and in docker-compose.yml.  A connection counts as a request under way from its first
#: byte on, so that many must be let in; one whose head is not whole after ten seconds is closed.
GRANIAN: Final = (
    *("--interface", "rsgi", "--no-ws", "--backlog", "4096", "--backpressure", "4096"),
    *("--http1-header-read-timeout", "10000"),
)
#: How the server itself writes its log: as everything else does.
SERVER_LOGS: Final = Path(__file__).with_name("server_logs.json")
#: A worker's statements may take longer than a request's.
WORKER_ENVIRONMENT: Final = {"STATEMENT_TIMEOUT_MS": "900000"}


class NotReady(Exception):
    """The service did not come up; the message says what is known."""


def make_known(listening: Listening) -> None:
    """Tell the children under which names they are called: those the person said, and those by which we watch them."""
    os.environ["PUBLIC_URL"] = os.environ.get("PUBLIC_URL") or listening.base_url
    said = os.environ.get("ALLOWED_HOSTS", "").split(",")
    names = [*filter(None, said), "localhost", DEFAULT_HOST, "[::1]", listening.reached_at]
    os.environ["ALLOWED_HOSTS"] = ",".join(dict.fromkeys(names))


def count_in(folder: Path) -> None:
    """Let the processes of this start count in a folder that is new: what earlier ones counted is over."""
    shutil.rmtree(folder, ignore_errors=True)
    folder.mkdir(parents=True)
    os.environ["PROMETHEUS_MULTIPROC_DIR"] = str(folder)


def start_api(children: Children, listening: Listening, *, workers: int = 2, log: Path | None = None) -> None:
    """Start the API: processes with threads that work; slow clients are waited for without one (``front``)."""
    argv = [sys.executable, "-m", "granian", *GRANIAN, "vineyard.rsgi:application"]
    argv += ["--host", listening.host, "--port", str(listening.port), "--workers", str(workers)]
    argv += ["--respawn-failed-workers", "--log-level", "warning", "--workers-kill-timeout", "5"]
    argv += ["--log-config", str(SERVER_LOGS)]
    children.spawn("API", argv, log=log)


def start_worker(children: Children, log: Path | None = None) -> None:
    """Start a worker for the jobs."""
    children.spawn("worker", [*_celery(), "worker", "-c", "1", *_QUIET], environment=WORKER_ENVIRONMENT, log=log)


def start_scheduler(children: Children, folder: Path, log: Path | None = None) -> None:
    """Start the scheduler, which sweeps for jobs that nobody was woken for; it keeps its times in the folder."""
    folder.mkdir(parents=True, exist_ok=True)
    argv = [*_celery(), "beat", "--loglevel", "warning", "--pidfile=", "--schedule", str(folder / "schedule")]
    children.spawn("scheduler", argv, environment=WORKER_ENVIRONMENT, log=log)


def _celery() -> list[str]:
    # In a container, or as root here, everybody is told at every start not to be root; the README says it once.
    calm = ["-W", "ignore:You're running the worker with superuser privileges"]
    return [sys.executable, *calm, "-m", "celery", "--app", "vineyard", "--quiet"]


_QUIET: Final = ["--loglevel", "warning", "--without-mingle", "--without-gossip"]


def wait_until_ready(children: Children, url: str) -> None:
    """Wait until the service says that it is ready; a child that ends meanwhile ends the wait.

    Raises
    ------
    NotReady
        A child ended, or it took too long.
    """
    end = time.monotonic() + READY_WITHIN_SECONDS
    for said in _answers(url):
        ended = children.ended()
        if ended:
            raise NotReady(f"The {ended.name} ended with status {ended.process.returncode} instead of starting.")
        if said.get("status") in {"ready", "degraded"}:  # the scheduler has not been heard of yet
            return
        if time.monotonic() > end:
            raise NotReady(
                f"The service is not ready after {READY_WITHIN_SECONDS} s: {said.get('detail', 'no answer')}"
            )
        time.sleep(0.05)


def _answers(url: str) -> Iterator[dict[str, str]]:
    with httpx.Client(timeout=5, trust_env=False) as client:
        while True:
            try:
                answer = client.get(f"{url}/readyz")
                yield answer.json() if "json" in answer.headers.get("Content-Type", "") else {}
            except (httpx.HTTPError, ValueError):
                yield {}
