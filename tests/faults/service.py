"""A whole service on a folder of its own, as durable as a farm's, and the ways in which its parts are killed.

Everything that is killed here was started here: its process ids come from our own children.
"""

from __future__ import annotations

import contextlib
import os
import signal
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any, cast

import psutil
import psycopg

from tests.faults.phone import Phone
from vineyard import servers
from vineyard.listening import Listening
from vineyard.stack import Children, Stack, postgres, valkey
from vineyard.stack.binaries import postgres_binaries
from vineyard.stack.places import places_for

ROOT = Path(__file__).resolve().parents[2]
API_WORKERS = 2
#: The server takes a worker that ends this soon after its start for one that always will, and ends itself.
NO_LOOP_SECONDS = 6


class Service:
    """API, job worker, scheduler, PostgreSQL and Valkey; nothing is shared with the stack of the other tests."""

    def __init__(self, base: Path) -> None:
        self.base = base
        self.stack = Stack(base)
        self.listening = Listening("127.0.0.1", 0).settled()
        self.log = base / "service.log"
        self.key = ""

    def start(self) -> None:
        self.stack.start()
        self.key = self._prepare().strip()
        children = cast(Children, self.stack)  # it starts a child as they do, and tells it where the stack is
        servers.start_api(children, self.listening, workers=API_WORKERS, log=self.log)
        servers.start_worker(children, log=self.log)
        servers.start_scheduler(children, self.base / "scheduler", log=self.log)
        self.wait_until_ready()

    def stop(self) -> None:
        self.stack.stop()

    def wait_until_ready(self) -> None:
        """Wait as long as it takes on a machine that does much else besides."""
        for patience in (2, 1, 0):
            try:
                return servers.wait_until_ready(self.stack.children, self.listening.base_url)
            except servers.NotReady:
                if self.stack.children.ended() or not patience:
                    raise
        return None

    def phone(self, port: int | None = None) -> Phone:
        """Give a client of its own connection; ``port`` leads it through a proxy."""
        return Phone(port or self.listening.port, self.key)

    def opened(self) -> psycopg.Connection[Any]:
        """Open the database itself, over the walls: what stands there, whatever the API says."""
        places = places_for(self.stack.base)
        return psycopg.connect(postgres.address(places, "postgres", "vineyard"))

    def ask(self, query: str, *arguments: Any) -> list[tuple[Any, ...]]:
        with self.opened() as opened:
            cursor = opened.execute(query.encode(), arguments)
            return cursor.fetchall() if cursor.description else []

    # --- What dies ------------------------------------------------------------------------------------

    def kill_api_worker(self) -> None:
        """End one worker of the API that has clients, as the kernel ends it when memory runs out."""
        api = psutil.Process(self._child("API").pid)
        until(lambda: bool(_with_clients(api)), 30, "no worker of the API has clients")
        _with_clients(api)[0].send_signal(signal.SIGKILL)

    def kill_backend(self) -> None:
        """End one process of the database that carries out a request at this moment."""
        ours = {each.pid for each in psutil.Process(self._child("postgres").pid).children()}
        busy: list[int] = []
        for _ in range(1000):
            busy = [row[0] for row in self.ask(
                "SELECT pid FROM pg_stat_activity WHERE usename = 'vineyard_app' AND state <> 'idle'"
            )]  # fmt: skip
            if busy:
                break
        assert busy and busy[0] in ours, "nothing was going on in the database"
        os.kill(busy[0], signal.SIGKILL)

    def kill_database(self) -> None:
        """End the postmaster, and wait until its processes saw it."""
        postmaster = psutil.Process(self._child("postgres").pid)
        family = [postmaster, *postmaster.children()]
        postmaster.kill()
        self._child("postgres").wait(10)
        _, alive = psutil.wait_procs(family, timeout=20)
        assert not alive, "processes of the database outlived the postmaster"

    def start_database(self) -> None:
        self.stack.children.forget(self._child("postgres"))
        postgres.start_postgres(places_for(self.stack.base), self.stack.children, fast=False)

    def kill_broker(self) -> None:
        self._child("valkey").kill()
        self._child("valkey").wait(10)

    def start_broker(self) -> None:
        self.stack.children.forget(self._child("valkey"))
        valkey.start_valkey(places_for(self.stack.base), self.stack.children, fast=False)

    # --- What is looked at afterwards -----------------------------------------------------------------

    def check_tables(self) -> str:
        """Give what pg_amcheck says about every table and index: nothing, if they are sound."""
        places = places_for(self.stack.base)
        argv = [str(postgres_binaries() / "pg_amcheck"), "--install-missing", "--heapallindexed", "--parent-check"]
        argv += ["-h", str(places.sockets), "-U", "postgres", "vineyard"]
        ended = subprocess.run(argv, capture_output=True, text=True, timeout=60, check=False)
        return ended.stdout + ended.stderr if ended.returncode else ""

    def deadlocks(self) -> int:
        """Give how often the database broke a deadlock since it was made."""
        return int(self.ask("SELECT deadlocks FROM pg_stat_database WHERE datname = current_database()")[0][0])

    def _child(self, name: str) -> subprocess.Popen[bytes]:
        return next(child.process for child in reversed(self.stack.children._children) if child.name == name)

    def _prepare(self) -> str:
        """Make the tables; gives the text of a key."""
        log = self.base / "prepare.log"
        with log.open("ab") as told:
            ended = subprocess.run(
                [sys.executable, "-m", "tests.faults.prepare"], cwd=ROOT,
                env={**os.environ, **self.stack.environment()},
                stdout=subprocess.PIPE, stderr=told, text=True, timeout=400, check=False,
            )  # fmt: skip
        assert ended.returncode == 0, log.read_text()
        return ended.stdout


def _with_clients(api: psutil.Process) -> list[psutil.Process]:
    """Give the workers that are connected to a client, and whose end is not taken for a loop."""
    found = []
    for worker in api.children():
        with contextlib.suppress(psutil.NoSuchProcess):
            lines = [line for line in worker.net_connections("tcp") if line.status == psutil.CONN_ESTABLISHED]
            if lines and time.time() - worker.create_time() > NO_LOOP_SECONDS:
                found.append(worker)
    return found


def until(reached: Callable[[], bool], within: float, what: str) -> None:
    """Wait for something that must come about, and say what did not."""
    end = time.monotonic() + within
    while not reached():
        assert time.monotonic() < end, f"after {within} s: {what}"
        time.sleep(0.02)
