"""Serve the service and the references on the bench's stack, and call them by a client that costs next to nothing."""

from __future__ import annotations

import http.client
import os
import subprocess
import sys
import time
from dataclasses import dataclass
from pathlib import Path
from typing import Final, Protocol

import httpx

from tests.bench.bulk_ground import ROOT, Ground, environment
from vineyard.listening import DEFAULT_HOST, Listening
from vineyard.servers import GRANIAN
from vineyard.stack import Stack

#: Both sides have as many worker processes as the service has when nobody says otherwise.
WORKERS: Final = 2
ANSWERS_WITHIN_SECONDS: Final = 60
NDJSON: Final = "application/x-ndjson"


@dataclass(frozen=True)
class Served:
    """One side that answers: where, and by which header it knows the caller."""

    port: int
    authorization: str

    def post(self, path: str, body: bytes, content_type: str) -> tuple[int, bytes]:
        """Post over a connection of its own: the server lets go of one that rests between trials."""
        connection = http.client.HTTPConnection(DEFAULT_HOST, self.port, timeout=600)
        try:
            headers = {"Authorization": self.authorization, "Content-Type": content_type}
            connection.request("POST", path, body=body, headers=headers)
            answer = connection.getresponse()
            return answer.status, answer.read()
        finally:
            connection.close()


class Keyed(Protocol):
    """Whatever holds the key of somebody who may ask."""

    @property
    def key(self) -> str: ...


def serve_ours(stack: Stack, ground: Keyed, name: str = "ours") -> Served:
    """Serve the service as ``manage.py serve`` does, with the settings that it has when nobody says otherwise."""
    port = _free_port()
    argv = [sys.executable, "-m", "granian", *GRANIAN, "vineyard.rsgi:application", "--host", DEFAULT_HOST]
    argv += ["--port", str(port), "--workers", str(WORKERS), "--log-level", "warning"]
    _spawn(stack, name, argv, environment(stack))
    _wait(f"http://{DEFAULT_HOST}:{port}/livez", {200})
    return Served(port, f"Bearer {ground.key}")


def serve_stock(stack: Stack, ground: Ground) -> Served:
    """Serve the ordinary way: Django REST framework as it comes, on the same tables."""
    settings = {
        "BENCH_STOCK_DATABASE": ground.superuser,
        "DJANGO_SETTINGS_MODULE": "tests.bench.stock.settings",
    }
    prepared = subprocess.run(
        [sys.executable, "-m", "tests.bench.stock.prepare"], cwd=ROOT, env={**os.environ, **settings}, check=True,
        stdout=subprocess.PIPE, text=True,
    )  # fmt: skip
    port = _free_port()
    argv = [sys.executable, "-m", "granian", "--interface", "wsgi", "--host", DEFAULT_HOST, "--port", str(port)]
    argv += [
        "--workers",
        str(WORKERS),
        "--blocking-threads",
        "2",
        "--log-level",
        "warning",
        "tests.bench.stock.wsgi:application",
    ]
    _spawn(stack, "stock", argv, settings)
    _wait(f"http://{DEFAULT_HOST}:{port}/", {200, 401})
    return Served(port, f"Token {prepared.stdout.strip()}")


def _spawn(stack: Stack, name: str, argv: list[str], settings: dict[str, str]) -> None:
    log: Path = stack.base / f"{name}.log"
    log.unlink(missing_ok=True)
    stack.spawn(name, argv, environment=settings, log=log)


def _free_port() -> int:
    return Listening(DEFAULT_HOST, 0).settled().port


def _wait(address: str, statuses: set[int]) -> None:
    end = time.monotonic() + ANSWERS_WITHIN_SECONDS
    while time.monotonic() < end:
        try:
            if httpx.get(address, trust_env=False).status_code in statuses:
                return
        except httpx.HTTPError:
            time.sleep(0.1)
    raise RuntimeError(f"{address} does not answer")
