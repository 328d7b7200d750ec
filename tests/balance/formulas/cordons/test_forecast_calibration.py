"""The interval of a forecast holds what comes as often as it says, on simulated histories whose hazards are known."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest

from balance.formulas.cordons.forecast import replacements_ahead

Hazard = Callable[[np.ndarray], np.ndarray]
HAZARDS: dict[str, Hazard] = {
    "constant": lambda ages: np.full(ages.shape, 0.03),
    "rising in a line": lambda ages: 0.005 + 0.003 * ages,
    "rising as a power": lambda ages: np.minimum(0.004 + 0.0004 * ages**1.8, 0.5),
    "high in youth, then rising": lambda ages: np.where(ages < 2, 0.08, 0.01 + 0.0015 * ages),
}
#: Cordons of the block, and winters for which it was followed.
BLOCKS = {"small": (120, 6), "middling": (400, 8), "large": (2_000, 10)}
HISTORIES = 32
WINTERS = 5


def history(rng: np.random.Generator, hazard: Hazard, cordons: int, winters: int) -> tuple[np.ndarray, ...]:
    """Let cordons of several plantings fail by chance; what was followed, what stands, and what comes after."""
    ages = rng.choice([0, 4, 9, 15], size=cordons) + rng.integers(0, 3, cordons)
    exposure, failures, standing = (np.zeros(40, dtype=np.int64) for _ in range(3))
    ahead = []
    for winter in range(winters + WINTERS):
        if winter == winters:
            standing = np.bincount(ages, minlength=40)
        failed = rng.random(cordons) < hazard(ages)
        if winter < winters:
            exposure += np.bincount(ages, minlength=40)
            failures += np.bincount(ages[failed], minlength=40)
        else:
            ahead.append(failed.sum())
        ages = np.where(failed, 0, ages + 1)
    return exposure, failures, standing, np.array(ahead)


def covered(hazard: Hazard, cordons: int, winters: int, seed: int) -> np.ndarray:
    """Whether the interval of each winter, and of all up to it, holds what came: shape (2, winters)."""
    rng = np.random.default_rng(seed)
    exposure, failures, standing, ahead = history(rng, hazard, cordons, winters)
    told = replacements_ahead(standing, exposure, failures, winters=WINTERS, draws=500)
    return np.array(
        [
            [each.low <= came <= each.high for each, came in zip(told.by_winter, ahead, strict=True)],
            [each.low <= came <= each.high for each, came in zip(told.up_to, ahead.cumsum(), strict=True)],
        ]
    )


@pytest.fixture(scope="module")
def coverage() -> dict[tuple[str, str], np.ndarray]:
    """Coverage of 384 histories, 32 for each shape of hazard and size of block; seeds are fixed."""
    return {
        (shape, size): np.mean(
            [covered(hazard, *BLOCKS[size], seed=1_000 * place + number) for number in range(HISTORIES)], axis=0
        )
        for place, (shape, hazard) in enumerate(HAZARDS.items())
        for size in BLOCKS
    }


@pytest.mark.parametrize("horizon", range(WINTERS))
def test_at_each_horizon_the_90_per_cent_interval_holds_85_to_95_per_cent_of_what_comes(horizon, coverage):
    single, up_to = np.mean(list(coverage.values()), axis=0)[:, horizon]
    assert 0.85 <= single <= 0.95
    assert 0.85 <= up_to <= 0.95


@pytest.mark.parametrize("shape", HAZARDS)
def test_whatever_the_shape_of_the_hazard_it_holds_85_to_95_per_cent(shape, coverage):
    assert 0.85 <= np.mean([coverage[shape, size] for size in BLOCKS]) <= 0.95


@pytest.mark.parametrize("size", BLOCKS)
def test_whatever_the_size_of_the_block_it_holds_85_to_95_per_cent(size, coverage):
    assert 0.85 <= np.mean([coverage[shape, size] for shape in HAZARDS]) <= 0.95


def test_no_shape_and_size_falls_far_from_it(coverage):
    assert all(0.78 <= each.mean() <= 0.99 for each in coverage.values())


def test_an_interval_without_what_is_not_known_of_the_hazard_would_hold_less():
    """So the check can fail: chance alone, at the raw share of a short history, holds too little over five winters."""
    held = []
    for seed in range(200):
        rng = np.random.default_rng(seed)
        exposure, failures, _, ahead = history(rng, HAZARDS["constant"], 400, 2)
        drawn = rng.binomial(400 * WINTERS, failures.sum() / exposure.sum(), 600)
        low, high = np.quantile(drawn, [0.05, 0.95])
        held.append(low <= ahead.sum() <= high)
    assert np.mean(held) < 0.85
