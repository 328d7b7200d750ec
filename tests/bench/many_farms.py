"""Summaries over many farms: as fast at ten million vine-seasons as at a hundred thousand, and beside a writer."""

from __future__ import annotations

import http.client
import os
import shutil
import statistics
import subprocess
import threading
import time
from collections.abc import Iterator
from contextlib import ExitStack
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import Any, Final

import orjson
import psycopg

from tests.bench.many_farms_ground import BLOCKS, FEW, MANY, PLACES, ROWS, Farms, standing
from tests.bench.pairs import Figure, Side, in_rounds, median_ratio
from tests.bench.served import NDJSON, Served, serve_ours
from vineyard.listening import DEFAULT_HOST

ROUNDS: Final = 7
ASKED_AT_ONCE: Final = 40
READERS: Final = 64
SECONDS: Final = 10
GROWS: Final = 1.5
FASTER: Final = 25
SLOWER: Final = 3.0
_COVERING: Final = """
    CREATE INDEX IF NOT EXISTS bench_covering ON dormant_record (season, block_id) INCLUDE (pruning_weight_kg)
    WHERE withdrawn_at IS NULL
"""
#: What the summary would be without what is kept: every weight of the season, by block, through an index that has all.
_GROUPED: Final = """
    SELECT block_id, count(pruning_weight_kg), avg(pruning_weight_kg::float8), stddev_samp(pruning_weight_kg::float8),
           percentile_cont(ARRAY[0.05, 0.25, 0.5, 0.75, 0.95]) WITHIN GROUP (ORDER BY pruning_weight_kg::float8)
    FROM dormant_record WHERE season = %s AND withdrawn_at IS NULL GROUP BY block_id
"""
#: The same figures of the same blocks from what is kept, read as ``balance.summaries.rows`` reads it.
_KEPT: Final = """
    SELECT block_id, weighed, weight_mean, weight_deviation, weight_quantiles FROM block_season
    WHERE farm_id = ANY(%s) AND season BETWEEN %s AND %s
"""


@dataclass(frozen=True)
class Ground:
    """Farms and the service that answers for them."""

    farms: Farms
    served: Served

    def path(self, what: str) -> str:
        return f"/api/v1/farms/{self.farms.farm}/{what}"


def figures() -> Iterator[Figure]:
    with ExitStack() as held:
        few, many = (_ground(held, count) for count in (FEW, MANY))
        yield _grows(few, many)
        yield _faster(many)
        yield _beside_an_ingest(many)


def _ground(held: ExitStack, count: int) -> Ground:
    stack, farms = held.enter_context(standing(count))
    return Ground(farms, serve_ours(stack, farms))


def _grows(few: Ground, many: Ground) -> Figure:
    """The season and the exact percentiles of every block of a farm, over HTTP, among few farms and among many."""
    sides = {"few": Side(partial(_looked, few), _seen), "many": Side(partial(_looked, many), _seen)}
    times = in_rounds(sides, rounds=ROUNDS)
    ratio = median_ratio(times["many"], times["few"])
    took = 1000 * statistics.median(times["many"]) / ASKED_AT_ONCE
    note = f"{_seasons(MANY):,} vine-seasons against {_seasons(FEW):,}; {took:.1f} ms a summary"
    return Figure("farm_summary", round(ratio, 3), f"<= {GROWS} x among a hundredth", ratio <= GROWS, note)


def _looked(ground: Ground) -> list[Any]:
    line = http.client.HTTPConnection(DEFAULT_HOST, ground.served.port, timeout=60)
    answers = []
    for turn in range(ASKED_AT_ONCE):
        what = ("season-summary", "block-comparison?limit=50")[turn % 2]
        line.request("GET", ground.path(what), headers={"Authorization": ground.served.authorization})
        answer = line.getresponse()
        answers.append((answer.status, answer.read()))
    line.close()
    return answers


def _seen(answers: list[Any]) -> bool:
    summary = orjson.loads(answers[0][1])
    assert summary["blocks"] == BLOCKS
    return all(status == 200 for status, _ in answers)


def _faster(many: Ground) -> Figure:
    """The figures of every block of the program in one season: from what is kept, against the records themselves."""
    with many.farms.connect() as asked:
        asked.execute("SET enable_seqscan = off")
        asked.execute(_COVERING)
        asked.execute("VACUUM ANALYZE dormant_record")
        farms = [row[0] for row in asked.execute("SELECT id FROM farm ORDER BY id").fetchall()]
        season = many.farms.season
        sides = {
            "grouped": Side(lambda: asked.execute(_GROUPED, [season]).fetchall(), _every_block),
            "kept": Side(lambda: asked.execute(_KEPT, [farms, season, season]).fetchall(), _every_block),
        }
        _alike(asked, farms, season)
        times = in_rounds(sides, rounds=ROUNDS)
    ratio = median_ratio(times["grouped"], times["kept"])
    took = 1000 * statistics.median(times["kept"])
    note = f"{MANY * BLOCKS:,} blocks of {_seasons(MANY):,} vine-seasons; {took:.1f} ms"
    return Figure("program_season", round(ratio, 1), f">= {FASTER} x a covering index", ratio >= FASTER, note)


def _alike(asked: psycopg.Connection, farms: list[Any], season: int) -> None:
    grouped = {row[0]: row[1:] for row in asked.execute(_GROUPED, [season]).fetchall()}
    for block, weighed, mean, deviation, quantiles in asked.execute(_KEPT, [farms, season, season]).fetchall():
        of_records = grouped[block]
        shares = [quantiles[place] for place in (0, 2, 3, 4, 6)]
        told, kept = [*of_records[:3], *of_records[3]], [weighed, mean, deviation, *shares]
        assert all(abs(one - other) <= 1e-9 * max(1, abs(one)) for one, other in zip(told, kept, strict=True))


def _every_block(rows: list[Any]) -> bool:
    return len(rows) == MANY * BLOCKS


def _beside_an_ingest(many: Ground) -> Figure:
    """Sixty-four dashboards that ask of one farm without a pause, alone and while the farm sends block after block."""
    name, goal = "readers_beside_ingest", f"<= {SLOWER} x quiet, 95 of 100 answers"
    if not shutil.which("wrk"):
        return Figure(name, 0, goal, False, "wrk is missing: apt-get install wrk")
    _load(many, 2)
    rounds = []
    for _ in range(3):
        quiet = _load(many, SECONDS)
        with _Ingest(many) as ingest:
            beside = _load(many, SECONDS)
        rounds.append((quiet, beside, ingest.rows))
    ratio = statistics.median(beside / quiet for quiet, beside, _ in rounds)
    quiet, beside = (statistics.median(each[side] for each in rounds) for side in (0, 1))
    note = f"{READERS} readers: {quiet:.0f} ms, {beside:.0f} ms beside {sum(each[2] for each in rounds):,} rows stored"
    return Figure(name, round(ratio, 2), goal, ratio <= SLOWER, note)


def _load(ground: Ground, seconds: int) -> float:
    """Let the readers ask for so long; gives the latency that 95 of 100 answers stay below [ms]."""
    argv = ["wrk", "-t", "1", "-c", str(READERS), "-d", f"{seconds}s", "--timeout", "30s", "-s"]
    argv += [str(Path(__file__).with_name("read.lua")), f"http://{DEFAULT_HOST}:{ground.served.port}"]
    settings = {
        "BENCH_AUTHORIZATION": ground.served.authorization,
        "BENCH_PATH": ground.path(f"season-summary?season={ground.farms.season}"),
    }
    said = subprocess.run(argv, env={**os.environ, **settings}, check=True, capture_output=True, text=True).stdout
    told = next(line for line in said.splitlines() if line.startswith("bench "))
    requests, failed, late = map(int, told.split()[1:])
    assert requests > 0 and failed == 0, said
    return late / 1000


class _Ingest:
    """The farm that is read sends five blocks of weighings at a time, in seasons that it has not yet."""

    def __init__(self, ground: Ground) -> None:
        self._ground = ground
        self._over = threading.Event()
        self._thread = threading.Thread(target=self._send)
        self.rows = 0

    def __enter__(self) -> _Ingest:
        self._thread.start()
        time.sleep(0.5)
        return self

    def __exit__(self, *_: object) -> None:
        self._over.set()
        self._thread.join()
        with self._ground.farms.connect() as connection:  # as if nothing had been sent
            connection.execute("SET session_replication_role = replica")
            for table in ("dormant_record", "block_season"):
                connection.execute(f"DELETE FROM {table} WHERE season > %s", [self._ground.farms.season])
            connection.execute("TRUNCATE block_season_mark")

    def _send(self) -> None:
        vines = self._vines()
        for season in range(self._ground.farms.season + 1, 2099):
            for start in range(0, len(vines), 2000):
                if self._over.is_set():
                    return
                lines = b"\n".join(_weighing(vine, season) for vine in vines[start : start + 2000])
                status, said = self._ground.served.post(self._ground.path("records?atomic=true"), lines, NDJSON)
                assert status == 200, said
                self.rows += orjson.loads(said)["summary"]["created"]

    def _vines(self) -> list[str]:
        with self._ground.farms.connect() as connection:
            found = connection.execute(
                "SELECT id::text FROM vine WHERE farm_id = %s ORDER BY block_id, row_number, place",
                [self._ground.farms.farm],
            ).fetchall()
        return [vine for (vine,) in found]


def _weighing(vine: str, season: int) -> bytes:
    return orjson.dumps({
        "kind": "dormant_record", "vine": vine, "observed_at": f"{season}-02-01T10:00:00-05:00",
        "pruning_weight": {"value": 2.8, "unit": "[lb_av]"}, "scale_resolution": {"value": 0.25, "unit": "[lb_av]"},
    })  # fmt: skip


def _seasons(farms: int) -> int:
    return farms * BLOCKS * ROWS * PLACES * 10
