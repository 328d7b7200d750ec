"""Survival of a million cordons in 500 groups against lifelines, one group after the other, in the same run.

Both get the same columns: years of age at the end and at the first look, whether a case was noticed, and the group.
Cordons are drawn: wear by age, ten per cent of the groups twice as fast, looked at from a year of chance on.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np
from lifelines import KaplanMeierFitter
from numpy.typing import NDArray

from balance.formulas.cordons.survival import kaplan_meier, medians
from tests.bench.pairs import Figure, Side, in_turn

CORDONS = 1_000_000
GROUPS = 500


@dataclass(frozen=True, eq=False)
class Drawn:
    """Cordons as ``kaplan_meier`` takes them; ``entry`` is None where all are followed from the beginning."""

    durations: NDArray[np.float64]
    events: NDArray[np.bool_]
    groups: NDArray[np.intp]
    entry: NDArray[np.float64] | None


def drawn(*, late: bool, seed: int = 4) -> Drawn:
    chance = np.random.default_rng(seed)
    groups = chance.integers(0, GROUPS, CORDONS)
    entry = chance.integers(0, 12, CORDONS).astype(float) if late else np.zeros(CORDONS)
    lives = np.ceil(chance.weibull(2, CORDONS) * np.where(groups % 10 == 0, 15, 30))
    last = entry + chance.integers(1, 15, CORDONS)
    left = np.minimum(last, np.maximum(lives, entry + 1))
    return Drawn(left, lives <= last, groups, entry if late else None)


def ours(cordons: Drawn) -> tuple[Any, Any]:
    table = kaplan_meier(cordons.durations, cordons.events, entry=cordons.entry, groups=cordons.groups, count=GROUPS)
    return table, medians(table)


def loop(cordons: Drawn) -> list[KaplanMeierFitter]:
    """Fit one group after the other; groups are parted by one sort, which is the fastest that a loop can do."""
    order = np.argsort(cordons.groups, kind="stable")
    begins = np.searchsorted(cordons.groups[order], np.arange(GROUPS + 1))
    parts = [order[begins[group] : begins[group + 1]] for group in range(GROUPS)]
    return [
        KaplanMeierFitter().fit(
            cordons.durations[own],
            cordons.events[own],
            entry=None if cordons.entry is None else cordons.entry[own],
        )
        for own in parts
    ]


def agree(table: Any, fitted: list[KaplanMeierFitter]) -> bool:
    """Tell whether every row of every group is what lifelines makes of it."""
    theirs = np.concatenate(
        [
            each.survival_function_at_times(table.sets.times[slice(*table.sets.begins[group : group + 2])]).to_numpy()
            for group, each in enumerate(fitted)
        ]
    )
    return bool(np.allclose(table.survival, theirs, rtol=1e-9, atol=1e-9))


def figures() -> Iterator[Figure]:
    for late in (False, True):
        yield _figure(drawn(late=late), "survival_entered_late" if late else "survival")


def _figure(cordons: Drawn, name: str) -> Figure:
    assert agree(ours(cordons)[0], loop(cordons))
    noticed = int(cordons.events.sum())
    mine = Side(lambda: ours(cordons), lambda found: found[0].sets.events.sum() == noticed)
    theirs = Side(lambda: loop(cordons), lambda fitted: len(fitted) == GROUPS)
    measured = in_turn(mine, theirs, pairs=5)
    speed = 1 / measured.ratio
    note = (
        f"{CORDONS:,} cordons in {GROUPS} groups{'' if cordons.entry is None else ', entered late'}: "
        f"{measured.ours_ms:.0f} ms against {measured.reference_ms:,.0f} ms of a loop over lifelines"
    )
    return Figure(name, round(speed), ">= 300 x lifelines", speed >= 300, note)
