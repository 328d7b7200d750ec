"""What a hundred thousand rows cost more: by row-level security, by kept versions, by summaries, by ten times the rows."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import ExitStack
from typing import Final

from tests.bench.bulk import Trial, against, all_stored, one_transaction, summary_of, trial_of
from tests.bench.bulk_ground import VINES, standing
from tests.bench.lines import as_lines
from tests.bench.pairs import Figure, Side, in_rounds, median_ratio
from tests.bench.served import NDJSON, Served, serve_ours

ROUNDS: Final = 7
FARMS_OF_TEN_MILLION: Final = 10
_MARKS: Final = '"dormant_record_marks_its_season_on_insert"'
_TRIGGER: Final = '"dormant_record_keeps_replaced_on_update"'


def costs() -> Iterator[Figure]:
    """Print what the second wall and the history cost; nothing is promised of them."""
    with standing() as (stack, ground):
        trial, ours = trial_of(ground), serve_ours(stack, ground)
        times = in_rounds(
            {
                "secured": _after(trial, "ENABLE ROW LEVEL SECURITY", one_transaction(trial, ours)),
                "unsecured": _after(trial, "DISABLE ROW LEVEL SECURITY", one_transaction(trial, ours)),
                "kept": _after(trial, f"ENABLE TRIGGER {_TRIGGER}", _corrections(trial, ours)),
                "not kept": _after(trial, f"DISABLE TRIGGER {_TRIGGER}", _corrections(trial, ours)),
            },
            rounds=ROUNDS,
        )
        for said in ("ENABLE ROW LEVEL SECURITY", f"ENABLE TRIGGER {_TRIGGER}"):
            _alter(trial, said)()
    secured, kept = median_ratio(times["secured"], times["unsecured"]), median_ratio(times["kept"], times["not kept"])
    note = against(VINES, times["secured"], times["unsecured"])
    yield Figure("row_security_cost", round(secured, 3), "none, x the time without", True, f"first insert, {note}")
    note = against(VINES, times["kept"], times["not kept"])
    yield Figure("history_cost", round(kept, 3), "none, x the time without", True, f"every row corrected, {note}")


def upkeep() -> Iterator[Figure]:
    """Store in one request, with what blocks and seasons come to kept current in its transaction, and without."""
    with standing() as (stack, ground):
        trial, ours = trial_of(ground), serve_ours(stack, ground)
        times = in_rounds(
            {
                "summed": _after(trial, f"ENABLE TRIGGER {_MARKS}", one_transaction(trial, ours)),
                "not summed": _after(trial, f"DISABLE TRIGGER {_MARKS}", one_transaction(trial, ours)),
            },
            rounds=ROUNDS,
        )
        _alter(trial, f"ENABLE TRIGGER {_MARKS}")()
    ratio = median_ratio(times["summed"], times["not summed"])
    note = against(VINES, times["summed"], times["not summed"])
    yield Figure("summaries_upkeep", round(ratio, 3), "<= 1.15 x the time without", ratio <= 1.15, note)


def ten_million() -> Iterator[Figure]:
    """Store into ten million rows of ten farms, and into one million of one, in turn."""
    with ExitStack() as held:
        sides = {}
        for name, farms in (("one", 1), ("ten", FARMS_OF_TEN_MILLION)):
            stack, ground = held.enter_context(standing(farms=farms))
            trial = trial_of(ground)
            assert trial.before >= farms * 1_000_000
            sides[name] = one_transaction(trial, serve_ours(stack, ground))
        times = in_rounds(sides, rounds=ROUNDS)
    speed = median_ratio(times["one"], times["ten"])
    note = against(VINES, times["ten"], times["one"])
    yield Figure("bulk_ten_million", round(speed, 3), ">= 0.95 x its speed into a million", speed >= 0.95, note)


def _alter(trial: Trial, what: str) -> Callable[[], None]:
    def alter() -> None:
        with trial.ground.connect() as connection:
            connection.execute(f"ALTER TABLE dormant_record {what}")

    return alter


def _after(trial: Trial, what: str, side: Side) -> Side:
    alter, before = _alter(trial, what), side.before

    def prepared() -> None:
        alter()
        before()

    return Side(side.work, side.holds, before=prepared)


def _corrections(trial: Trial, ours: Served) -> Side:
    """Send every record again with one node more; the first time, which does not count, it is stored."""
    corrected = [{**record, "nodes_retained": record["nodes_retained"] + 1} for record in trial.records]
    path, first, second = f"{trial.path}&on_conflict=update", trial.lines(), as_lines(corrected)

    def store() -> None:
        assert summary_of(ours.post(path, first, NDJSON))["created"] == VINES

    def holds(answer: tuple[int, bytes]) -> bool:
        assert summary_of(answer) == {"received": VINES, "created": 0, "updated": VINES}
        return all_stored(trial, corrected)

    return Side(lambda: ours.post(path, second, NDJSON), holds, before=store)
