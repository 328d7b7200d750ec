"""What must hold of any forecast of replacements, and what it comes to where it can be known otherwise."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from balance.formulas.cordons.age_hazards import MOST_AGE, hazards_by_age
from balance.formulas.cordons.forecast import (
    NOTHING_FOLLOWED,
    NOTHING_STANDS,
    replacements_ahead,
    shortest_interval,
)
from balance.formulas.errors import OutOfRange

AGES = st.lists(st.integers(0, 300), min_size=1, max_size=20)


def posterior(exposure, failures, ages=12, draws=8_000):
    return hazards_by_age(exposure, failures, ages, draws=draws, generator=np.random.default_rng(3))


@settings(max_examples=40, deadline=None)
@given(AGES, AGES, st.randoms(use_true_random=False), st.integers(1, 10), st.sampled_from([50.0, 80.0, 90.0, 99.0]))
def test_no_winter_replaces_more_cordons_than_stand_and_the_interval_has_an_order(standing, exposure, random, w, share):
    failures = [random.randint(0, n) for n in exposure]
    told = replacements_ahead(standing, exposure, failures, winters=w, confidence=share, draws=200)
    if told.reason is not None:
        assert told.by_winter == () and (sum(exposure) == 0 or sum(standing) == 0)
        return
    assert [each.winter for each in told.by_winter] == list(range(1, w + 1))
    for each, up_to in zip(told.by_winter, told.up_to, strict=True):
        assert 0 <= each.low <= each.high <= sum(standing)
        assert 0 <= each.mean <= sum(standing)
        assert up_to.mean == pytest.approx(sum(one.mean for one in told.by_winter[: each.winter]))
        assert 0 <= up_to.low <= up_to.high <= each.winter * sum(standing)


def test_without_a_cordon_followed_there_is_a_reason_and_no_number():
    told = replacements_ahead([40], [0, 0], [0, 0])
    assert (told.by_winter, told.up_to, told.reason) == ((), (), NOTHING_FOLLOWED)


def test_without_a_cordon_standing_there_is_another_reason():
    assert replacements_ahead([0], [40], [4]).reason == NOTHING_STANDS


def test_no_failure_yet_is_not_no_failure_ever():
    told = replacements_ahead([200], [200], [0])
    assert 0 < told.by_winter[0].mean < 2
    assert told.by_winter[0].low == 0 < told.up_to[-1].high


def test_the_same_question_gives_the_same_answer():
    first, again = (replacements_ahead([0, 90], [80, 90], [2, 5]) for _ in range(2))
    assert (first.by_winter, first.up_to) == (again.by_winter, again.up_to)


def test_where_one_age_was_followed_the_hazard_is_jeffreys_posterior_of_a_proportion():
    """Oracle: scipy.stats.beta; with one age the line is its level, so mean and quantiles are those of a Beta."""
    drawn = posterior([0, 0, 0, 400], [0, 0, 0, 20], ages=4).draws[:, 3]
    oracle = stats.beta(20.5, 380.5)
    assert drawn.mean() == pytest.approx(oracle.mean(), rel=0.03)
    assert np.quantile(drawn, [0.05, 0.95]) == pytest.approx(oracle.ppf([0.05, 0.95]), rel=0.06)


def test_where_much_was_followed_each_age_speaks_for_itself():
    failures = np.array([400, 100, 900, 300, 50])
    means = posterior([10_000] * 5, failures, ages=5).draws.mean(axis=0)
    assert means == pytest.approx(failures / 10_000, rel=0.08)


def test_where_little_was_followed_an_age_is_drawn_towards_its_neighbours():
    means = posterior([2_000, 2_000, 4, 2_000, 2_000], [60, 60, 4, 60, 60], ages=5).draws.mean(axis=0)
    assert means[2] < 0.15  # not 4 of 4
    assert means[[0, 1, 3, 4]] == pytest.approx(0.03, rel=0.15)


def test_an_age_that_was_never_followed_is_less_sure_than_its_neighbours():
    drawn = posterior([500] * 6, [10] * 6, ages=40).draws
    assert drawn[:, 39].std() > 1.5 * drawn[:, 3].std()


@settings(max_examples=25, deadline=None)
@given(st.lists(st.integers(5, 400), min_size=1, max_size=12), st.randoms(use_true_random=False))
def test_more_failures_in_the_history_never_foresee_fewer(exposure, random):
    few = [random.randint(0, n // 3) for n in exposure]
    many = [min(n, 2 * d + 1 + n // 4) for n, d in zip(exposure, few, strict=True)]
    less, more = (replacements_ahead(exposure, exposure, d, winters=1).by_winter[0].mean for d in (few, many))
    assert more > less


def test_the_interval_of_known_hazards_is_the_binomial_ones():
    """Oracle: scipy.stats.binom.  A history of ten million leaves chance alone."""
    told = replacements_ahead([500], [10_000_000], [1_000_000], winters=1, draws=20_000)
    first = told.by_winter[0]
    inside = stats.binom.cdf(first.high, 500, 0.1) - stats.binom.cdf(first.low - 1, 500, 0.1)
    assert first.mean == pytest.approx(50, rel=1e-3)
    assert 0.88 <= inside <= 0.925


def test_what_was_replaced_comes_back_young_and_may_fail_again():
    """All fail in youth and none later: what failed is there again next winter; the old never fail."""
    exposure, failures = [1_000_000] + [1_000_000] * 5, [500_000] + [0] * 5
    told = replacements_ahead([1_000, 0, 0, 1_000], exposure, failures, winters=3)
    assert [each.mean for each in told.by_winter] == pytest.approx([500, 250, 125], rel=0.02)


@settings(max_examples=60, deadline=None)
@given(st.lists(st.integers(0, 30), min_size=1, max_size=60), st.floats(0.05, 1))
def test_the_shortest_interval_is_the_shortest_that_holds_the_share(drawn, share):
    low, high = shortest_interval(drawn, share)
    array = np.array(drawn)
    runs = [(b - a, a, b) for a in range(31) for b in range(a, 31)
            if ((array >= a) & (array <= b)).sum() >= share * len(drawn) - 1e-9]  # fmt: skip
    assert ((array >= low) & (array <= high)).sum() >= share * len(drawn) - 1e-9
    assert high - low == min(runs)[0]


@pytest.mark.parametrize(
    "asked",
    [
        {"standing": [-1]}, {"standing": [0.5]}, {"standing": [float("nan")]}, {"standing": [1e300]},
        {"standing": [1] * (MOST_AGE + 2)}, {"exposure": [3]}, {"failures": [9, 9]}, {"exposure": [1, 1]},
        {"winters": 0}, {"winters": 11}, {"confidence": 100}, {"confidence": float("nan")}, {"draws": 5},
    ],
)  # fmt: skip
def test_what_cannot_be_is_refused(asked):
    with pytest.raises(OutOfRange):
        replacements_ahead(**{"standing": [4], "exposure": [5, 5], "failures": [1, 2], **asked})


def test_the_very_old_are_foreseen_as_the_oldest_that_are_told_apart():
    assert replacements_ahead([0] * MOST_AGE + [50], [100], [3]).by_winter[0].mean > 0
