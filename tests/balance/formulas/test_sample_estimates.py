"""Means of samples: intervals by scipy and statsmodels, by simulation, and what is said where there is too little."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats
from statsmodels.stats.weightstats import DescrStatsW

from balance.formulas.errors import OutOfRange
from balance.formulas.samples.sample_estimate import (
    NO_MEAN,
    TOO_UNEVEN,
    MeanEstimate,
    Progress,
    estimate_mean,
    progress_of,
)
from balance.formulas.samples.sample_size import vines_needed

weights = st.lists(st.integers(1, 7000).map(lambda grams: grams / 1000), min_size=2, max_size=60)


@given(weights, st.floats(50, 99.9))
def test_in_a_block_without_end_the_interval_is_statsmodels(sample, confidence):
    ours = estimate_mean(sample, confidence, 10**12)
    low, high = DescrStatsW(sample).tconfint_mean(alpha=1 - confidence / 100)
    assert (ours.low, ours.high) == pytest.approx((low, high), rel=1e-6, abs=1e-6)


@given(weights, st.floats(50, 99.9), st.integers(0, 500))
def test_in_a_block_the_interval_is_scipys_with_the_finite_correction(sample, confidence, further):
    population = len(sample) + further
    ours = estimate_mean(sample, confidence, population)
    scale = stats.sem(sample) * math.sqrt(1 - len(sample) / population)
    half = float(stats.t.ppf(0.5 + confidence / 200, len(sample) - 1)) * scale
    assert ours.half_width == pytest.approx(half, rel=1e-6, abs=1e-7)
    assert ours.error == pytest.approx(100 * half / np.mean(sample), rel=1e-6, abs=1e-5)


@given(weights, st.integers(0, 500), st.randoms())
def test_the_order_of_the_vines_changes_nothing(sample, further, shuffler):
    shuffled = list(sample)
    shuffler.shuffle(shuffled)
    once, again = (estimate_mean(each, 95, len(sample) + further) for each in (sample, shuffled))
    assert (again.mean, again.half_width) == pytest.approx((once.mean, once.half_width), rel=1e-9, abs=1e-9)


@given(weights, st.integers(0, 500))
def test_pounds_and_kilograms_ask_for_the_same_vines(sample, further):
    population = len(sample) + further
    told = [
        progress_of(estimate_mean([factor * each for each in sample], 95, population), 10, 95, 35)
        for factor in (1, 1 / 0.45359237)
    ]
    assert told[0] == told[1]


@given(weights, st.integers(0, 3000), st.floats(2, 50))
def test_enough_is_said_just_where_the_achieved_error_is_the_wanted_one_or_less(sample, further, error):
    estimate = estimate_mean(sample, 95, len(sample) + further)
    progress = progress_of(estimate, error, 95, 35)
    if progress.enough is not None and estimate.error is not None and abs(estimate.error - error) > 1e-6:
        assert progress.enough == (estimate.error <= error)
        assert progress.more == max(0, (progress.needed or 0) - estimate.n)
        assert (progress.more == 0) == progress.enough


@pytest.mark.parametrize("confidence", [80, 95])
def test_intervals_of_random_samples_hold_the_mean_as_often_as_they_say(confidence):
    """2000 samples of 12 from 60 vines with a CV of 35 %: the share lies within 1.5 points of the nominal."""
    chance = np.random.default_rng(20270116)
    block = chance.normal(2.7, 0.95, 60)
    held = 0
    for _ in range(2000):
        told = estimate_mean(chance.choice(block, 12, replace=False), confidence, 60)
        assert told.low is not None and told.high is not None
        held += told.low <= block.mean() <= told.high
    assert abs(held / 2000 - confidence / 100) < 0.015


def test_a_planned_sample_reaches_its_error_as_often_as_it_says():
    """1000 blocks of 400 vines with CV 35 %: 95 of 100 means of as many vines as planned lie within 10 %."""
    chance = np.random.default_rng(7)
    planned = vines_needed(10, 95, 35, 400).vines
    reached = 0
    for _ in range(1000):
        block = chance.normal(2, 0.7, 400)
        mean = chance.choice(block, planned, replace=False).mean()
        reached += abs(mean / block.mean() - 1) <= 0.1
    assert 0.93 < reached / 1000 < 0.98


def test_where_every_vine_was_weighed_the_mean_is_known():
    told = estimate_mean([1.0, 2.0, 4.5], 95, 3)
    assert (told.low, told.mean, told.high, told.error) == (2.5, 2.5, 2.5, 0.0)
    assert progress_of(told, 1, 99, 35) == Progress(True, 3, 0)
    assert progress_of(estimate_mean([1.0], 95, 1), 1, 99, 35) == Progress(True, 1, 0)


def test_one_weight_has_a_mean_and_no_interval_and_the_planned_spread_says_what_is_needed():
    told = estimate_mean([2.5, math.nan], 95, 300)
    assert (told.n, told.mean, told.low, told.error) == (1, 2.5, None, None)
    needed = vines_needed(10, 95, 35, 300).vines
    assert progress_of(told, 10, 95, 35) == Progress(False, needed, needed - 1)


def test_no_weight_has_no_mean_and_what_is_needed_is_still_said():
    told = estimate_mean([], 95, 300)
    assert told == MeanEstimate(0, 300, None)
    assert progress_of(told, 10, 95, 35).more == vines_needed(10, 95, 35, 300).vines


def test_a_block_without_vines_has_nothing_to_weigh():
    progress = progress_of(estimate_mean([], 95, 0), 10, 95, 35)
    assert (progress.enough, progress.needed, "nothing to weigh" in (progress.reason or "")) == (None, None, True)


def test_zero_is_a_weight_but_no_error_is_a_share_of_it():
    told = estimate_mean([0.0, 0.0, 0.0], 95, 300)
    assert (told.mean, told.half_width, told.error) == (0.0, 0.0, None)
    assert progress_of(told, 10, 95, 35) == Progress(None, None, None, NO_MEAN)


def test_weights_more_uneven_than_any_block_are_looked_at_not_planned_on():
    told = estimate_mean([0.001] * 99 + [50.0], 95, 3000)
    assert progress_of(told, 10, 95, 35).reason == TOO_UNEVEN


def test_more_weights_than_vines_are_refused():
    with pytest.raises(OutOfRange, match="vines weighed"):
        estimate_mean([1.0, 2.0], 95, 1)
