"""A block's worklist on a farm of 100,000 cordons with 14 years of inspections, against a farm of 1,000 cordons.

Both farms have blocks of the same size with the same share of cases; every inspection comes in through bulk ingest,
over HTTP.  The farm sets thresholds, so the worklist reads the inspections to propose what nobody has noticed.
"""

from __future__ import annotations

import os
import random
import secrets
import subprocess
import sys
import tempfile
import time
import uuid
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

import httpx
import orjson

from tests.bench.block_targets import ROOT, _free_port, _get, _wait
from tests.bench.pairs import Figure, Side, in_turn
from vineyard.stack import Stack

GOAL: Final = 1.5
PAIRS: Final = 25
A_BLOCK: Final = 1_000
BLOCKS: Final = 100
YEARS: Final = range(2013, 2027)
#: Lines of one request.
LINES: Final = 20_000
#: A request that the service refuses for now is sent again, as any client does.
TRIES: Final = 6
#: Every third vine has a case; every tenth declines and is not noticed by anybody.
CASES_A_BLOCK: Final = 334
QUERY: Final = "season=2026&part_of_year=winter"


@dataclass(frozen=True)
class Ground:
    """One farm: its id, one of its blocks, and its vines, block by block."""

    farm: str
    block: str
    vines: list[str]

    @property
    def worklist(self) -> str:
        return f"/api/v1/farms/{self.farm}/cordon-worklist?{QUERY}&block={self.block}"


def figures() -> Iterator[Figure]:
    with tempfile.TemporaryDirectory(prefix="vineyard-bench-") as folder:
        base = Path(folder)
        base.chmod(0o755)
        with Stack(base / "stack") as stack:
            yield from _measured(stack, base)


def _measured(stack: Stack, base: Path) -> Iterator[Figure]:
    limits = {"RATE_LIMIT_KEY": "off", "RATE_LIMIT_FARM": "off"}
    environment = {**stack.environment(), **limits, "SECRET_KEY": secrets.token_urlsafe(48)}
    told = _run(environment, "prepare")
    _run(environment, "analyse")
    key, grounds = told["key"], [Ground(**each) for each in told["grounds"]]
    port = _free_port()
    argv = [sys.executable, "-m", "granian", "--interface", "wsgi", "--host", "127.0.0.1", "--port", str(port)]
    argv += ["--workers", "1", "--blocking-threads", "1", "--log-level", "warning", "vineyard.wsgi:application"]
    stack.spawn("ours", argv, environment=environment, log=base / "ours.log")
    address = f"http://127.0.0.1:{port}"
    _wait(f"{address}/livez")
    began = time.perf_counter()
    rows = sum(_ingested(address, key, ground) for ground in grounds)
    took = time.perf_counter() - began
    _run(environment, "analyse")
    small, large = (Side(_get(address, ground.worklist, key), _is_whole) for ground in grounds)
    measured = in_turn(large, small, PAIRS)
    note = (
        f"{measured.ours_ms:.1f} ms against {measured.reference_ms:.1f} ms, {A_BLOCK:,} cordons in the block; "
        f"{rows:,} inspections in by bulk, {took:.0f} s"
    )
    goal = f"<= {GOAL} x the time on a farm of {A_BLOCK:,} cordons"
    yield Figure("cordon_worklist", round(measured.ratio, 3), goal, measured.ratio <= GOAL, note)


def _run(environment: dict[str, str], what: str) -> Any:
    argv = [sys.executable, "-m", "tests.bench.cordon_worklist_ground", what]
    done = subprocess.run(argv, cwd=ROOT, env={**os.environ, **environment}, check=True, stdout=subprocess.PIPE)
    return orjson.loads(done.stdout)


def _ingested(address: str, key: str, ground: Ground) -> int:
    """Send every inspection of a farm through bulk ingest; give how many were stored."""
    chosen, stored, lines = random.Random(1), 0, []
    headers = {"Authorization": f"Bearer {key}", "Content-Type": "application/x-ndjson"}
    with httpx.Client(base_url=address, headers=headers, timeout=600, trust_env=False) as client:
        for year in YEARS:
            for number, vine in enumerate(ground.vines):
                lines.append(orjson.dumps(_inspection(vine, number, year, chosen)))
                if len(lines) == LINES or (year, number) == (YEARS[-1], len(ground.vines) - 1):
                    stored += _sent(client, f"/api/v1/farms/{ground.farm}/records", b"\n".join(lines))
                    lines = []
    assert stored == len(YEARS) * len(ground.vines), stored
    return stored


def _sent(client: httpx.Client, path: str, body: bytes) -> int:
    """Send lines with ids of their own, again where it is to be tried again; give how many are stored."""
    for _ in range(TRIES):
        answer = client.post(path, content=body)
        if answer.status_code != 503:
            break
        time.sleep(float(answer.headers.get("Retry-After", 1)))
    assert answer.status_code == 200, _failed(answer)
    told = answer.json()["summary"]
    return int(told["created"] + told["unchanged"])


def _failed(answer: httpx.Response) -> Any:
    """Give the first lines that were not stored, or the refusal of all."""
    told = answer.json()
    return [line for line in told["results"] if line["status"] == "failed"][:3] if "results" in told else told


def _inspection(vine: str, number: int, year: int, chosen: random.Random) -> dict[str, Any]:
    """Give what was seen of one cordon: ten positions, of which those of every tenth vine die year by year."""
    blank = min(9, (year - YEARS[0]) // 2) if number % 10 == 1 else chosen.randrange(3)
    return {
        "kind": "cordon_inspection",
        "id": str(uuid.UUID(int=chosen.getrandbits(128), version=4)),
        "vine": vine,
        "observed_at": f"{year}-01-{1 + number % 28:02}T10:00:00-05:00",
        "cordon": "left",
        "living_positions": 10 - blank,
        "blank_positions": blank,
    }


def _is_whole(body: bytes) -> bool:
    """Hold the list to what the ground has: 334 cases to lay down, and every tenth vine that has no case yet."""
    counted = {one["task"]: one["count"] for one in orjson.loads(body)["by_task"]}
    declining = sum(number % 10 == 1 and number % 3 != 0 for number in range(A_BLOCK))
    assert counted == {"lay_down": CASES_A_BLOCK, "decide": declining}, counted
    return True
