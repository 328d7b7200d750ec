"""Farm reports as PDF with three charts, against matplotlib and WeasyPrint over the same seasons, in the same run.

Both sides have two worker processes that are warm, as the service's are; no report is made twice, because typst
remembers what it has set.  WeasyPrint needs pango on the machine; where it does not load, the bench says so and fails.
"""

from __future__ import annotations

import itertools
import multiprocessing
import statistics
import time
from collections.abc import Callable, Iterator
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path

from tests.bench.pairs import Figure
from tests.bench.reports_ground import document_of, prepare, season_of

REPORTS = 120
#: So many of ours are made while the plain side makes one; it would take minutes otherwise.
TO_ONE = 15
ROUNDS = 3
#: How often two processes and one are set against each other, and with how many reports each; they take turns, because
#: the machine's pace changes.
PAIRS = 9
OF_A_PAIR = 40
_WARM = 8
_numbers = itertools.count(1)


def ours(number: int) -> int:
    """Make one report as the service does; gives its size."""
    from balance.reports.forms import as_pdf

    made = as_pdf.render(document_of(season_of(number), with_charts=True))
    assert made.startswith(b"%PDF")
    return len(made)


def plain(number: int) -> int:
    """Make one report the ordinary way; gives its size."""
    from tests.bench.reports_plain import make

    made = make(season_of(number))
    assert made.startswith(b"%PDF")
    return len(made)


def _seconds(pool: ProcessPoolExecutor, make: Callable[[int], int], count: int) -> float:
    """Give how long a pool takes for one report [s]."""
    numbers = list(itertools.islice(_numbers, count))
    began = time.perf_counter()
    sizes = list(pool.map(make, numbers, chunksize=max(1, count // 20)))
    took = time.perf_counter() - began
    assert len(sizes) == count
    assert min(sizes) > 10_000
    return took / count


def _pool(workers: int) -> ProcessPoolExecutor:
    pool = ProcessPoolExecutor(workers, multiprocessing.get_context("spawn"), prepare)
    for make in (ours, plain):
        list(pool.map(make, itertools.islice(_numbers, workers * _WARM)))
    return pool


def figures(reports: int = REPORTS) -> Iterator[Figure]:
    rounds, pairs = [], []
    with _pool(2) as two, _pool(1) as one:
        for _ in range(ROUNDS):
            rounds.append((_seconds(two, ours, reports), _seconds(two, plain, max(4, reports // TO_ONE))))
        for _ in range(PAIRS):
            pairs.append((_seconds(two, ours, 2 * OF_A_PAIR), _seconds(one, ours, OF_A_PAIR)))
    speed = statistics.median(theirs / mine for mine, theirs in rounds)
    scaling = statistics.median(alone / together for together, alone in pairs)
    mine, theirs = (statistics.median(side) for side in zip(*rounds, strict=True))
    said = f"{reports:,} reports with 3 charts on two processes: {1000 * mine:.1f} ms each"
    note = f"{said} against {1000 * theirs:.0f} ms of matplotlib and WeasyPrint"
    yield Figure("reports", round(speed, 1), ">= 30 x matplotlib and WeasyPrint", speed >= 30, note)
    yield Figure("reports_scaling", round(scaling, 2), ">= 1.8 x one process", scaling >= 1.8, said)
    yield _memory(reports)


def thousand() -> Iterator[Figure]:
    """A thousand reports a round, which takes minutes."""
    return figures(1000)


def _memory(reports: int) -> Figure:
    with ProcessPoolExecutor(1, multiprocessing.get_context("spawn"), prepare) as pool:
        warm, end = pool.submit(_grown, max(reports, 300)).result()
    note = f"{warm:.0f} MB at most in the second fifth of them, {end:.0f} MB in the last"
    return Figure("reports_memory", round(end / warm, 3), "<= 1.05 x after warming up", end <= 1.05 * warm, note)


def _grown(reports: int) -> tuple[float, float]:
    """Make reports in this process; gives the most of its resident memory in the second fifth of them and the last [MB].

    What is free goes back to the machine now and then, so a single moment says little.
    """
    held = []
    for number in range(1, reports + 1):
        ours(-number)
        held.append(_resident())
    fifth = reports // 5
    return max(held[fifth : 2 * fifth]), max(held[-fifth:])


def _resident() -> float:
    pages = int(Path("/proc/self/statm").read_text(encoding="ascii").split()[1])
    return pages * 4096 / 1e6
