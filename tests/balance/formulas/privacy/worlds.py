"""Invented programs of farms, by a seed: regions, cultivars and trainings of unequal size, farms of unequal size."""

from __future__ import annotations

from collections.abc import Collection, Iterable
from dataclasses import replace
from itertools import combinations

import numpy as np
from scipy.optimize import linprog

from balance.formulas.privacy.hierarchy import Cell, Contribution, Hierarchy, single_margins
from balance.formulas.privacy.row_space import Numbers

REGIONS = tuple(f"region {number}" for number in range(1, 7))
CULTIVARS = ("red one", "red two", "white one", "white two", "table one")
TRAININGS = ("low cordon", "high cordon", "canes")
PROGRAM = single_margins({"region": REGIONS, "cultivar": CULTIVARS, "training": TRAININGS})
DEEPER = Hierarchy(PROGRAM.dimensions, (*PROGRAM.margins, ("region", "cultivar"), ("region", "training")))


def program(seed: int, farms: int = 60) -> list[Contribution]:
    """Draw a program: each farm in one region, with one to three plantings; values are kilograms of prunings."""
    draw = np.random.default_rng(seed)
    region_shares = draw.dirichlet(np.full(len(REGIONS), 4.0))
    drawn = []
    for number in range(farms):
        region = REGIONS[draw.choice(len(REGIONS), p=region_shares)]
        for _ in range(1 + draw.integers(3)):
            vines = float(np.round(np.exp(draw.normal(7, 0.8))))
            labels = (
                region,
                CULTIVARS[draw.choice(len(CULTIVARS), p=[0.35, 0.25, 0.2, 0.12, 0.08])],
                TRAININGS[draw.choice(len(TRAININGS), p=[0.5, 0.35, 0.15])],
            )
            drawn.append(Contribution(f"farm {number:02d}", vines * float(np.exp(draw.normal(0, 0.35))), vines, labels))
    return drawn


def a_year_on(farms: Iterable[Contribution], seed: int) -> list[Contribution]:
    """Let a season pass: one change that all share, and a little of each farm's own."""
    draw = np.random.default_rng(seed)
    common = float(np.exp(draw.normal(0, 0.1)))
    return [replace(each, value=each.value * common * float(np.exp(draw.normal(0, 0.08)))) for each in farms]


def without(farms: Iterable[Contribution], farm: str) -> list[Contribution]:
    return [each for each in farms if each.farm != farm]


def farms_of(farms: Iterable[Contribution]) -> list[str]:
    return sorted({each.farm for each in farms})


def sums(farms: list[Contribution], cells: Collection[Cell]) -> Numbers:
    """Give who stands in which cell, straight from the labels: rows are cells, columns the contributions as listed."""
    places = {each.name: place for place, each in enumerate(PROGRAM.dimensions)}
    return np.array(
        [[float(all(each.labels[places[n]] == label for n, label in cell)) for each in farms] for cell in cells]
    ).reshape(len(cells), len(farms))


def fewest_by_trying(rows: Numbers, farms: list[str], at_most: int) -> int | None:
    """Give the fewest farms behind any difference, by trying every set of farms: the rank of what the others hold."""
    names = sorted(set(farms))
    whole = np.linalg.matrix_rank(rows) if rows.size else 0
    for size in range(at_most + 1):
        for chosen in combinations(names, size):
            others = rows[:, [farm not in chosen for farm in farms]]
            if (np.linalg.matrix_rank(others) if others.size else 0) < whole:
                return size
    return None


def bounds_by_hand(farms: list[Contribution], cells: Collection[Cell], farm: str, reader: str | None):
    """Bound a farm's sum by the plainest linear program: sums as told, none negative, the reader's own known."""
    rows, values = sums(farms, cells), np.array([each.value for each in farms])
    own = [each.farm == reader for each in farms]
    aim = np.array([float(each.farm == farm and bool(rows[:, place].any())) for place, each in enumerate(farms)])
    limits = [(v, v) if mine else (0, None) for v, mine in zip(values / values.mean(), own, strict=True)]
    ends = []
    for sign in (1, -1):
        result = linprog(sign * aim, A_eq=rows, b_eq=rows @ values / values.mean(), bounds=limits, method="highs")
        ends.append(sign * float(result.fun or 0) * values.mean() if result.status == 0 else np.inf)
    return (*ends, float(aim @ values))
