"""A hundred thousand weighings over HTTP, against a bare COPY of the rows that they become and against the ordinary way.

The bare COPY is done by a superuser, whom row-level security does not bind, into the same table with the same indexes,
checks and foreign keys; its bytes are the very rows that the service stored, written off the clock.  Every trial is
looked at off the clock and taken away again, and the sides follow each other in an order of chance.
"""

from __future__ import annotations

import statistics
import uuid
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from typing import Any, Final

import orjson
import psycopg

from tests.bench.bulk_ground import TRIAL_SEASON, VINES, Ground, standing
from tests.bench.lines import as_lines, weighings
from tests.bench.pairs import Figure, Side, in_rounds, median_ratio
from tests.bench.served import NDJSON, Served, serve_ours, serve_stock

ROUNDS: Final = 9
#: The ordinary way is asked for less: a hundred thousand would take it minutes, and its time a row is the same.
STOCK_ROWS: Final = 1_000
COLUMNS_WITH_DEFAULTS: Final = ("version", "received_at", "changed_at", "change_position")


@dataclass(frozen=True)
class Trial:
    """What every side works with."""

    ground: Ground
    path: str
    records: list[dict[str, Any]]
    before: int

    def lines(self, *, half: int | None = None) -> bytes:
        middle = len(self.records) // 2
        chosen = self.records if half is None else self.records[half * middle : (half + 1) * middle]
        return as_lines(chosen)


def figures() -> Iterator[Figure]:
    """Measure all sides in turn on a million records; give the figures."""
    with standing() as (stack, ground):
        trial = trial_of(ground)
        ours, stock = serve_ours(stack, ground), serve_stock(stack, ground)
        copied = copy_of_what_is_stored(trial, ours)
        times = in_rounds(
            {
                "copy": bare_copy(trial, copied),
                "one": one_transaction(trial, ours),
                "two": two_transactions(trial, ours),
                "stock": stock_list(trial, stock),
                "first and replay": first_and_replay(trial, ours),
            },
            rounds=ROUNDS,
        )
    yield against_copy("bulk_one_transaction", times["copy"], times["one"], 0.75)
    yield against_copy("bulk_two_transactions", times["copy"], times["two"], 1.0)
    yield _against_stock(times["stock"], times["one"])
    yield _replayed(times["first and replay"])


def trial_of(ground: Ground) -> Trial:
    ground.clear()
    return Trial(ground, f"/api/v1/farms/{ground.farm}/records?atomic=true", weighings(ground), ground.records())


def against_copy(name: str, copy: list[float], ours: list[float], goal: float) -> Figure:
    speed = median_ratio(copy, ours)
    return Figure(name, round(speed, 3), f">= {goal} x a bare COPY's speed", speed >= goal, against(VINES, ours, copy))


def against(rows: int, ours: list[float], reference: list[float]) -> str:
    mine, theirs = statistics.median(ours), statistics.median(reference)
    return f"{rows:,} rows, {1000 * mine:.0f} ms against {1000 * theirs:.0f} ms"


def _against_stock(stock: list[float], ours: list[float]) -> Figure:
    speed = median_ratio(stock, ours) * VINES / STOCK_ROWS
    note = f"a row of {STOCK_ROWS:,} takes it {1e6 * statistics.median(stock) / STOCK_ROWS:.0f} us"
    return Figure("bulk_against_stock", round(speed, 1), ">= 150 x a ModelSerializer's speed", speed >= 150, note)


def _replayed(both: list[tuple[float, float]]) -> Figure:
    first, again = [one for one, _ in both], [two for _, two in both]
    speed = median_ratio(first, again)
    return Figure(
        "bulk_replay", round(speed, 2), ">= 5 x the first time's speed", speed >= 5, against(VINES, again, first)
    )


# --- The sides ------------------------------------------------------------------------------------------


def one_transaction(trial: Trial, ours: Served) -> Side:
    body = trial.lines()
    return Side(lambda: ours.post(trial.path, body, NDJSON), lambda answer: _all_created(trial, [answer]))


def two_transactions(trial: Trial, ours: Served) -> Side:
    bodies = [trial.lines(half=0), trial.lines(half=1)]
    return Side(lambda: at_once(trial, ours, bodies), lambda answers: _all_created(trial, answers))


def at_once(trial: Trial, ours: Served, bodies: list[bytes]) -> list[tuple[int, bytes]]:
    with ThreadPoolExecutor(len(bodies)) as pool:
        return list(pool.map(lambda body: ours.post(trial.path, body, NDJSON), bodies))


def first_and_replay(trial: Trial, ours: Served) -> Side:
    """Send the same body twice; the time of each counts by itself."""
    body = trial.lines()

    def send() -> tuple[int, bytes]:
        return ours.post(trial.path, body, NDJSON)

    def nothing_new(answer: tuple[int, bytes]) -> bool:
        return summary_of(answer) == {"received": VINES, "created": 0, "unchanged": VINES} and all_stored(
            trial, trial.records
        )

    return Side(send, lambda answer: summary_of(answer)["created"] == VINES, again=Side(send, nothing_new))


def stock_list(trial: Trial, stock: Served) -> Side:
    body = orjson.dumps([as_columns(trial, each) for each in trial.records[:STOCK_ROWS]])

    def holds(answer: tuple[int, bytes]) -> bool:
        status, said = answer
        assert status == 201, said[:500]
        return len(orjson.loads(said)) == STOCK_ROWS and all_stored(trial, trial.records[:STOCK_ROWS])

    return Side(lambda: stock.post("/dormant-records/", body, "application/json"), holds)


def as_columns(trial: Trial, record: dict[str, Any]) -> dict[str, Any]:
    """Give a record as the ordinary way wants it: with the farm, the block, the season and the kilograms."""
    pounds = record["pruning_weight"]["value"]
    return {
        "id": record["id"], "farm": trial.ground.farm, "block": _blocks(trial.ground)[record["vine"]],
        "vine": record["vine"], "season": TRIAL_SEASON, "observed_at": record["observed_at"],
        "observed_offset_minutes": -300, "scale": record["scale"], "nodes_retained": record["nodes_retained"],
        "pruning_weight_value": pounds, "pruning_weight_unit": "[lb_av]",
        "pruning_weight_kg": f"{pounds * 0.45359237:.10f}", "scale_resolution_value": 0.25,
        "scale_resolution_unit": "[lb_av]", "scale_resolution_kg": "0.1133980925",
        "recorded_by_id": trial.ground.person, "api_key_id": trial.ground.api_key, "source": "api",
    }  # fmt: skip


_BLOCKS_OF: dict[str, dict[str, str]] = {}


def _blocks(ground: Ground) -> dict[str, str]:
    if ground.farm not in _BLOCKS_OF:
        with ground.connect() as connection:
            found = connection.execute(
                "SELECT id::text, block_id::text FROM vine WHERE farm_id = %s", [ground.farm]
            ).fetchall()
        _BLOCKS_OF[ground.farm] = dict(found)
    return _BLOCKS_OF[ground.farm]


@dataclass(frozen=True)
class Copied:
    """Rows as COPY takes them, and the columns that they have."""

    columns: str
    rows: bytes


def bare_copy(trial: Trial, copied: Copied) -> Side:
    connection = psycopg.connect(trial.ground.superuser)

    def copy() -> None:
        with connection.cursor().copy(f"COPY dormant_record ({copied.columns}) FROM STDIN (FORMAT binary)") as into:
            into.write(copied.rows)
        connection.commit()

    return Side(copy, lambda _: all_stored(trial, trial.records))


def copy_of_what_is_stored(trial: Trial, ours: Served) -> Copied:
    """Store everything over HTTP once, and give what then stands in the table, in the order in which it stands."""
    answer = ours.post(trial.path, trial.lines(), NDJSON)
    assert summary_of(answer)["created"] == VINES
    with trial.ground.connect() as connection:
        columns = _columns(connection)
        query = (
            f"SELECT {columns} FROM dormant_record WHERE farm_id = '{trial.ground.farm}' AND season = {TRIAL_SEASON} "
            "ORDER BY ctid"
        )
        with connection.cursor().copy(f"COPY ({query}) TO STDOUT (FORMAT binary)") as rows:
            copied = Copied(columns, b"".join(bytes(part) for part in rows))
    trial.ground.clear()
    return copied


def _columns(connection: psycopg.Connection) -> str:
    """Name every column but those that the database fills by itself."""
    found = connection.execute(
        "SELECT attname FROM pg_attribute WHERE attrelid = 'dormant_record'::regclass AND attnum > 0 "
        "AND NOT attisdropped AND attname <> ALL (%s) ORDER BY attnum",
        [list(COLUMNS_WITH_DEFAULTS)],
    )
    return ", ".join(name for (name,) in found)


# --- What is asserted off the clock ---------------------------------------------------------------------


def summary_of(answer: tuple[int, bytes]) -> dict[str, int]:
    status, body = answer
    assert status == 200, body[:2000]
    told = orjson.loads(body)
    assert len(told["results"]) == told["summary"]["received"]
    return {name: count for name, count in told["summary"].items() if count or name == "created"}


def _all_created(trial: Trial, answers: list[tuple[int, bytes]]) -> bool:
    return sum(summary_of(answer)["created"] for answer in answers) == VINES and all_stored(trial, trial.records)


def all_stored(trial: Trial, sent: list[dict[str, Any]]) -> bool:
    """Hold the sums of what stands in the table to what was sent, and take it away."""
    expected = (
        len(sent),
        len(sent),
        sum(record["nodes_retained"] for record in sent),
        sum(round(100 * record["pruning_weight"]["value"]) for record in sent),
        sum(uuid.UUID(record["id"]).int & 0xFFFF for record in sent),
    )
    with trial.ground.connect() as connection:
        found = connection.execute(_SUMS, [trial.ground.farm, TRIAL_SEASON]).fetchone()
    assert found == expected, (found, expected)
    trial.ground.clear()
    assert trial.ground.records() == trial.before
    return True


_SUMS: Final = """
    SELECT count(*), count(DISTINCT r.vine_id), sum(r.nodes_retained)::bigint,
           (100 * sum(r.pruning_weight_kg) / 0.45359237)::bigint, sum(('x' || right(r.id::text, 4))::bit(16)::int)
    FROM dormant_record r JOIN vine v ON v.farm_id = r.farm_id AND v.block_id = r.block_id AND v.id = r.vine_id
    WHERE r.farm_id = %s AND r.season = %s
"""
