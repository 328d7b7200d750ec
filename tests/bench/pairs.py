"""Measure two ways of doing one thing in turn, and compare them pair by pair."""

from __future__ import annotations

import random
import statistics
import time
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

PAIRS = 15


@dataclass(frozen=True)
class Figure:
    """One figure: a ratio, its goal, and whether it is reached."""

    name: str
    ratio: float
    goal: str
    ok: bool
    note: str = ""

    def __str__(self) -> str:
        return f"{self.name}: {self.ratio:.2f} x, goal {self.goal}, {'ok' if self.ok else 'MISSED'} ({self.note})"


@dataclass(frozen=True)
class Measured:
    """The median of each side [ms], and the median of the ratios ours / reference."""

    ours_ms: float
    reference_ms: float
    ratio: float


@dataclass(frozen=True)
class Side:
    """One way: what is timed, and what is asserted of its result afterwards, off the clock.

    ``before`` brings about what the work needs, off the clock; ``again`` is what follows on the state that the work
    left, timed by itself.
    """

    work: Callable[[], Any]
    holds: Callable[[Any], bool]
    again: Side | None = None
    before: Callable[[], Any] = lambda: None

    def timed(self) -> float:
        self.before()
        began = time.perf_counter()
        result = self.work()
        took = time.perf_counter() - began
        assert self.holds(result)
        return took


def in_turn(ours: Side, reference: Side, pairs: int = PAIRS) -> Measured:
    """Time both in turn, after one run of each that does not count."""
    ours.timed()
    reference.timed()
    times = [(ours.timed(), reference.timed()) for _ in range(pairs)]
    return Measured(
        ours_ms=1000 * statistics.median(mine for mine, _ in times),
        reference_ms=1000 * statistics.median(theirs for _, theirs in times),
        ratio=statistics.median(mine / theirs for mine, theirs in times),
    )


def in_rounds(sides: Mapping[str, Side], *, rounds: int) -> dict[str, list[Any]]:
    """Time several sides, each once a round in an order of chance, after a round that does not count.

    Gives the times [s] of each side, round by round; of a side with an ``again``, pairs of times.
    """
    times: dict[str, list[Any]] = {name: [] for name in sides}
    for number in range(rounds + 1):
        for name in random.sample(list(sides), len(sides)):
            side = sides[name]
            took: Any = side.timed()
            if side.again:
                took = (took, side.again.timed())
            if number:
                times[name].append(took)
    return times


def median_ratio(slower: Sequence[float], faster: Sequence[float]) -> float:
    """Give how many times as fast the second is, as the median over rounds."""
    return statistics.median(one / other for one, other in zip(slower, faster, strict=True))
