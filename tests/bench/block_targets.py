"""Targets of a block of 10,000 vines over HTTP, against fetching the same rows and writing them as JSON."""

from __future__ import annotations

import http.client
import os
import secrets
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import httpx
import orjson

from tests.bench.pairs import Figure, Side, in_turn
from vineyard.stack import Stack

VINES = 10_000
GOAL = 1.25
ROOT = Path(__file__).resolve().parents[2]


def figures() -> Iterator[Figure]:
    with tempfile.TemporaryDirectory(prefix="vineyard-bench-") as folder:
        base = Path(folder)
        base.chmod(0o755)
        with Stack(base / "stack") as stack:
            yield _measure(stack, base)


def _measure(stack: Stack, base: Path) -> Figure:
    environment = {**stack.environment(), "SECRET_KEY": secrets.token_urlsafe(48), "BENCH_VINES": str(VINES)}
    prepared = subprocess.run(
        [sys.executable, "-m", "tests.bench.ground"], cwd=ROOT, env={**os.environ, **environment}, check=True,
        capture_output=True, text=True,
    )  # fmt: skip
    farm, block, key = prepared.stdout.split()
    environment |= {"BENCH_FARM": farm, "BENCH_BLOCK": block}
    addresses = {}
    for name, application in (
        ("ours", "vineyard.wsgi:application"),
        ("reference", "tests.bench.reference:application"),
    ):
        port = _free_port()
        addresses[name] = f"http://127.0.0.1:{port}"
        argv = [sys.executable, "-m", "granian", "--interface", "wsgi", "--host", "127.0.0.1", "--port", str(port)]
        argv += ["--workers", "1", "--blocking-threads", "1", "--log-level", "warning", application]
        stack.spawn(name, argv, environment=environment, log=base / f"{name}.log")
    path = f"/api/v1/farms/{farm}/blocks/{block}/targets?season=2027"
    _wait(f"{addresses['ours']}/livez")
    _wait(addresses["reference"])
    ours = Side(_get(addresses["ours"], path, key), _is_whole)
    reference = Side(_get(addresses["reference"], "/", key), lambda body: len(orjson.loads(body)) == VINES)
    measured = in_turn(ours, reference)
    note = f"{VINES:,} vines, {measured.ours_ms:.1f} ms against {measured.reference_ms:.1f} ms"
    return Figure(
        "block_targets", round(measured.ratio, 3), f"<= {GOAL} x raw fetch + orjson", measured.ratio <= GOAL, note
    )


def _is_whole(body: bytes) -> bool:
    told = orjson.loads(body)
    with_target = sum(row["nodes"] is not None for row in told["results"])
    return (told["count"], len(told["results"]), told["with_target"]) == (VINES, VINES, with_target)


def _free_port() -> int:
    from vineyard.listening import DEFAULT_HOST, Listening

    return Listening(DEFAULT_HOST, 0).settled().port


def _get(address: str, path: str, key: str) -> Callable[[], bytes]:
    """Give a call over a kept connection, by a client that costs next to nothing itself."""
    connection = http.client.HTTPConnection(address.removeprefix("http://"), timeout=30)

    def get() -> bytes:
        connection.request("GET", path, headers={"Authorization": f"Bearer {key}"})
        answer = connection.getresponse()
        body = answer.read()
        assert answer.status == 200, body
        return body

    return get


def _wait(address: str) -> None:
    end = time.monotonic() + 30
    while time.monotonic() < end:
        try:
            if httpx.get(address, trust_env=False).status_code == 200:
                return
        except httpx.HTTPError:
            time.sleep(0.05)
    raise RuntimeError(f"{address} does not answer")
