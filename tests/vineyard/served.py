"""The API as granian serves it, with its two worker processes, on the database of the tests."""

from __future__ import annotations

import os
import socket
import subprocess
import sys
import time
from pathlib import Path
from urllib.parse import urlsplit, urlunsplit

import httpx
import psutil
import pytest
from django.db import connection

from vineyard.servers import GRANIAN

ROOT = Path(__file__).resolve().parents[2]


class ServedApi:
    """One running API; ``settings`` are given to it as its environment."""

    def __init__(self, log: Path, **settings: str) -> None:
        with socket.socket() as probe:
            probe.bind(("127.0.0.1", 0))
            port = probe.getsockname()[1]
        self.url = f"http://127.0.0.1:{port}"
        self.log = log
        database = urlunsplit(
            urlsplit(os.environ["DATABASE_URL"])._replace(path=f"/{connection.settings_dict['NAME']}")
        )
        argv = [sys.executable, "-m", "granian", *GRANIAN, "--port", str(port), "--workers", "2"]
        argv += [
            "--respawn-failed-workers",
            "--respawn-interval",
            "0.1",
            "--workers-kill-timeout",
            "3",
            "--log-level",
            "warning",
        ]
        environment = {**os.environ, "DATABASE_URL": database, **settings}
        with log.open("w") as opened:
            self.process = subprocess.Popen(
                [*argv, "vineyard.rsgi:application"], cwd=ROOT, env=environment, stdout=opened, stderr=opened
            )
        self.wait()

    def wait(self) -> None:
        """Wait until it answers."""
        end = time.monotonic() + 60
        while time.monotonic() < end and self.process.poll() is None:
            try:
                if httpx.get(f"{self.url}/livez", timeout=5).status_code == 200:
                    return
            except httpx.HTTPError:
                time.sleep(0.05)
        pytest.fail(f"the API did not come up: {self.log.read_text()[-2000:]}")

    def workers(self) -> list[psutil.Process]:
        """Give its worker processes that live."""
        return [child for child in psutil.Process(self.process.pid).children() if _lives(child)]

    def kill_a_worker(self) -> None:
        """End one worker process at once and wait until another stands in its place."""
        before = {child.pid for child in self.workers()}
        self.workers()[0].kill()
        end = time.monotonic() + 30
        while time.monotonic() < end and len({child.pid for child in self.workers()} - before) == 0:
            time.sleep(0.05)
        self.wait()

    def stop(self) -> None:
        self.process.terminate()
        try:
            self.process.wait(15)
        except subprocess.TimeoutExpired:
            for child in psutil.Process(self.process.pid).children(recursive=True):
                child.kill()
            self.process.kill()
            self.process.wait(5)


def _lives(process: psutil.Process) -> bool:
    try:
        return bool(process.status() != psutil.STATUS_ZOMBIE)
    except psutil.NoSuchProcess:
        return False
