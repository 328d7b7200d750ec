"""Sixty invented farms in six regions over three seasons, as they are read for benchmarks."""

from __future__ import annotations

import uuid
from dataclasses import replace

import numpy as np

from balance.benchmarks.brought import Brought
from balance.benchmarks.deciding import Decided, ToldBefore, cell_at
from balance.benchmarks.measures import NAMES
from balance.reports.programs import sums
from balance.reports.programs.sums import BlockSums, FarmSums, Sum

REGIONS = tuple(f"region {number} (invented)" for number in range(1, 7))
CULTIVARS = ("Red one", "Red two", "White one", "White two", "Table one")
TRAININGS = ("low cordon", "high cordon", "canes")
SHELTERS = ("open field", "high tunnel")
SEASONS = (2030, 2031, 2032)
#: Everything that farms are told apart by, and all of them together.
PLACES = 1 + len(REGIONS) + len(CULTIVARS) + len(TRAININGS) + len(SHELTERS)


def farm_id(number: int) -> uuid.UUID:
    return uuid.UUID(int=10_000 + number)


def world(seed: int, farms: int = 60) -> list[FarmSums]:
    """Draw the first season: each farm in one region, with one to three blocks."""
    draw = np.random.default_rng(seed)
    shares = draw.dirichlet(np.full(len(REGIONS), 6.0))
    return [_farm(draw, number, REGIONS[draw.choice(len(REGIONS), p=shares)]) for number in range(farms)]


def _farm(draw: np.random.Generator, number: int, region: str) -> FarmSums:
    blocks = tuple(_block(draw, region) for _ in range(1 + draw.integers(3)))
    return FarmSums(farm_id(number), frozenset({uuid.UUID(int=number + 1)}), own=False, blocks=blocks)


def _block(draw: np.random.Generator, region: str) -> BlockSums:
    vines = int(np.round(np.exp(draw.normal(6, 0.6)))) + 20
    weight = vines * float(np.exp(draw.normal(0, 0.35)))
    return BlockSums(
        region,
        CULTIVARS[draw.choice(len(CULTIVARS), p=[0.35, 0.25, 0.2, 0.12, 0.08])],
        TRAININGS[draw.choice(len(TRAININGS), p=[0.5, 0.35, 0.15])],
        vines,
        {
            sums.PRUNING_WEIGHT: Sum(vines, weight, float(vines), 0.0),
            sums.KEPT: Sum(vines, vines * float(np.exp(draw.normal(3.8, 0.3))), float(vines), 0.0),
            sums.CROP_LOAD: Sum(1, weight * float(np.exp(draw.normal(2.1, 0.35))), weight, 0.0),
        },
        shelter=SHELTERS[draw.choice(2, p=[0.75, 0.25])],
    )


def a_year_on(farms: list[FarmSums], seed: int) -> list[FarmSums]:
    """Let a season pass: one change that all share, and a little of each block's own."""
    draw = np.random.default_rng(seed)
    shared = {name: float(np.exp(draw.normal(0, 0.1))) for name in NAMES}

    def later(block: BlockSums) -> BlockSums:
        moved = {
            name: replace(each, top=each.top * shared[name] * float(np.exp(draw.normal(0, 0.08))))
            for name, each in block.sums.items()
        }
        return replace(block, sums=moved)

    return [FarmSums(farm.farm, farm.owners, farm.own, tuple(later(block) for block in farm.blocks)) for farm in farms]


def without(farms: list[FarmSums], number: int) -> list[FarmSums]:
    return [farm for farm in farms if farm.farm != farm_id(number)]


def as_told(season: int, brought: tuple[Brought, ...], cells: tuple[Decided, ...]) -> ToldBefore:
    """Give a snapshot as the next one looks at it."""
    means = {
        name: frozenset(cell_at(c.place) for c in cells if c.measure == name and c.mean is not None) for name in NAMES
    }
    spreads = {
        name: frozenset(cell_at(c.place) for c in cells if c.measure == name and c.spread is not None) for name in NAMES
    }
    return ToldBefore(season, brought, means, spreads)
