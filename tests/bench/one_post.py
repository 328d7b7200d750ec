"""One weighing a request from 64 connections at once, each answered after its commit, against the ordinary way.

The load comes from ``wrk`` (https://github.com/wg/wrk; ``apt-get install wrk``): a generator in Python would be what
is measured.  Both sides answer with the record that they stored, and share two cores with the generator.
"""

from __future__ import annotations

import os
import shutil
import statistics
import subprocess
import tempfile
import time
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Final

import orjson

from tests.bench.bulk import Trial, as_columns, trial_of
from tests.bench.bulk_ground import TRIAL_SEASON, standing
from tests.bench.pairs import Figure, median_ratio
from tests.bench.served import NDJSON, Served, serve_ours, serve_stock
from vineyard.listening import DEFAULT_HOST

CONNECTIONS: Final = 64
SECONDS: Final = 8
ROUNDS: Final = 5
GOAL: Final = 15


@dataclass(frozen=True)
class Load:
    """One side under load: where it posts to, and the bodies, each sent once."""

    served: Served
    path: str
    bodies: Path
    content_type: str = "application/json"

    def run(self, trial: Trial, seconds: int = SECONDS) -> Rate:
        """Post for so many seconds; every success must have left its row."""
        settings = {
            "BENCH_BODIES": str(self.bodies),
            "BENCH_AUTHORIZATION": self.served.authorization,
            "BENCH_CONTENT_TYPE": self.content_type,
        }
        argv = ["wrk", "-t", "1", "-c", str(CONNECTIONS), "-d", f"{seconds}s", "--timeout", "10s"]
        argv += [
            "-s",
            str(Path(__file__).with_name("post.lua")),
            f"http://{DEFAULT_HOST}:{self.served.port}{self.path}",
        ]
        said = subprocess.run(argv, env={**os.environ, **settings}, check=True, capture_output=True, text=True).stdout
        told = next(line for line in said.splitlines() if line.startswith("bench "))
        requests, microseconds, failed, middle, late = map(int, told.split()[1:])
        assert failed == 0, said
        stored = _settled(trial)
        assert requests <= stored <= requests + CONNECTIONS, (requests, stored)  # some were under way at the end
        trial.ground.clear()
        return Rate(1e6 * requests / microseconds, middle / 1000, late / 1000)


@dataclass(frozen=True)
class Rate:
    """Answers a second, and the latency [ms] that half and 99 of 100 stay below."""

    a_second: float
    half_ms: float
    most_ms: float


def figures() -> Iterator[Figure]:
    if not shutil.which("wrk"):
        yield Figure(
            "one_post", 0, f">= {GOAL} x a ModelSerializer's rate", False, "wrk is missing: apt-get install wrk"
        )
        return
    with standing() as (stack, ground), tempfile.TemporaryDirectory(prefix="vineyard-bench-") as folder:
        trial = trial_of(ground)
        ours, stock = serve_ours(stack, ground), serve_stock(stack, ground)
        yield compared(trial, *loads(trial, ours, stock, Path(folder)))


def loads(trial: Trial, ours: Served, stock: Served, folder: Path) -> tuple[Load, Load]:
    mine, theirs = folder / "ours", folder / "stock"
    mine.write_bytes(trial.lines())
    theirs.write_bytes(b"\n".join(orjson.dumps(as_columns(trial, each)) for each in trial.records))
    path = f"/api/v1/farms/{trial.ground.farm}/records"
    return Load(ours, path, mine, NDJSON), Load(stock, "/dormant-records/", theirs)


def compared(trial: Trial, ours: Load, stock: Load) -> Figure:
    for side in (ours, stock):
        side.run(trial, 2)
    rounds = [(ours.run(trial), stock.run(trial)) for _ in range(ROUNDS)]
    ratio = median_ratio([mine.a_second for mine, _ in rounds], [theirs.a_second for _, theirs in rounds])
    mine, theirs = (statistics.median(each[side].most_ms for each in rounds) for side in (0, 1))
    note = f"{CONNECTIONS} connections; 99 of 100 answers within {mine:.0f} ms against {theirs:.0f} ms"
    return Figure("one_post", round(ratio, 2), f">= {GOAL} x a ModelSerializer's rate", ratio >= GOAL, note)


def _settled(trial: Trial) -> int:
    """Wait for what was under way when the load ended, and count: a late row would be in the next side's way."""
    before, now = -1, _stored(trial)
    while now != before:
        time.sleep(1)
        before, now = now, _stored(trial)
    return now


def _stored(trial: Trial) -> int:
    with trial.ground.connect() as connection:
        found = connection.execute(
            "SELECT count(*) FROM dormant_record WHERE farm_id = %s AND season = %s", [trial.ground.farm, TRIAL_SEASON]
        ).fetchone()
    assert found is not None
    return int(found[0])
