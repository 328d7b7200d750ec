"""Sample sizes: by scipy and statsmodels, by counting up, and what holds for all of them."""

from __future__ import annotations

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats
from statsmodels.stats.power import TTestPower

from balance.formulas.errors import OutOfRange
from balance.formulas.samples.sample_size import NORMAL, expected_error, quantile_of, vines_needed

errors = st.floats(2, 50)
confidences = st.floats(50, 99.9)
variations = st.floats(0.5, 120)
populations = st.none() | st.integers(1, 20_000)


def half_width(vines: int, confidence: float, variation: float, population: int | None) -> float:
    """By scipy's distribution and the textbook's formula."""
    share = 1 - vines / population if population else 1
    return float(stats.t.ppf(0.5 + confidence / 200, vines - 1) * variation / math.sqrt(vines) * math.sqrt(share))


@settings(deadline=None)  # counting up takes as long as it takes
@given(st.floats(4, 30), st.sampled_from([80, 90, 95, 99]), st.floats(5, 60), st.none() | st.integers(5, 3000))
def test_it_is_the_first_number_that_counting_up_finds(error, confidence, variation, population):
    counted = 2
    while counted < (population or 10**6) and half_width(counted, confidence, variation, population) > error:
        counted += 1
    assert vines_needed(error, confidence, variation, population).vines == counted


@settings(deadline=None)
@given(st.floats(4, 30), st.sampled_from([90, 95, 99]), st.floats(10, 60))
def test_a_test_of_half_power_by_statsmodels_takes_about_as_many_vines(error, confidence, variation):
    """The error is found significant in half of all samples just where it equals half the interval, by and large."""
    ours = vines_needed(error, confidence, variation).vines
    if ours > 5:
        theirs = TTestPower().solve_power(error / variation, power=0.5, alpha=1 - confidence / 100, nobs=None)
        assert abs(ours - theirs) <= 2 + ours / 200


@given(st.integers(2, 10**6), confidences)
def test_the_quantiles_are_scipys(vines, confidence):
    upper = 0.5 + confidence / 200
    assert quantile_of(vines, confidence) == pytest.approx(stats.t.ppf(upper, vines - 1), rel=1e-9, abs=1e-12)
    assert quantile_of(vines, confidence, NORMAL) == pytest.approx(stats.norm.ppf(upper), rel=1e-9, abs=1e-12)


@given(errors, confidences, variations, populations, st.floats(1, 3))
def test_more_spread_more_confidence_or_less_error_never_take_fewer_vines(
    error, confidence, variation, population, more
):
    vines = vines_needed(error, confidence, variation, population).vines
    surer = min(99.9, confidence * more)
    assert vines_needed(error, confidence, variation * more, population).vines >= vines
    assert vines_needed(error, surer, variation, population).vines >= vines
    assert vines_needed(error / more, confidence, variation, population).vines >= vines


@given(errors, confidences, variations, st.integers(1, 20_000), st.integers(0, 20_000))
def test_never_more_than_stand_never_more_than_without_end_and_a_larger_block_takes_no_fewer(
    error, confidence, variation, population, further
):
    size = vines_needed(error, confidence, variation, population)
    assert size.vines <= min(population, size.without_correction)
    assert vines_needed(error, confidence, variation, population + further).vines >= size.vines


@given(errors, confidences, variations, populations)
def test_so_many_vines_reach_the_wanted_error_and_one_fewer_does_not(error, confidence, variation, population):
    size = vines_needed(error, confidence, variation, population)
    assert size.expected_error <= error * (1 + 1e-8)
    assert size.expected_error == expected_error(size.vines, confidence, variation, population)
    if size.vines > 2:
        assert expected_error(size.vines - 1, confidence, variation, population) > error * (1 - 1e-8)


@given(errors, confidences, variations, st.integers(2, 20_000), st.floats(0.01, 100))
def test_only_the_ratio_of_spread_to_error_counts(error, confidence, variation, population, scale):
    """So a weight typed in pounds asks for the vines that the same weight in kilograms asks for."""
    scaled = error * scale
    if 0.1 <= scaled <= 100 and variation * scale <= 500:
        once, again = (
            vines_needed(each, confidence, spread, population).vines
            for each, spread in ((error, variation), (scaled, variation * scale))
        )
        assert abs(once - again) <= (0 if math.log2(scale).is_integer() else 1)


def test_at_least_two_vines_because_a_spread_needs_two_unless_there_is_one():
    assert [vines_needed(10, 95, 0, each).vines for each in (None, 300, 2, 1)] == [2, 2, 2, 1]


def test_every_vine_weighed_leaves_no_error_and_one_of_many_tells_none():
    assert expected_error(352, 95, 35, 352) == 0
    assert expected_error(1, 95, 35, 352) == math.inf


def test_the_extremes_are_answered():
    assert vines_needed(0.1, 99.9, 500).vines == 270_689_158
    assert vines_needed(0.1, 99.9, 500, 10_000_000).vines == 9_643_735
    assert vines_needed(100, 50, 0.0001).vines == 2


@pytest.mark.parametrize(
    ("asked", "said"),
    [((0.05, 95, 35), "wanted error"), ((101, 95, 35), "wanted error"), ((10, 49, 35), "confidence"), ((10, 100, 35), "confidence"),
     ((10, 95, -1), "coefficient"), ((10, 95, 501), "coefficient"), ((10, 95, math.nan), "coefficient"),
     ((math.nan, 95, 35), "wanted error"), ((10, 95, 35, 0), "vines in the block")],
)  # fmt: skip
def test_what_lies_out_of_range_is_refused_with_the_limits(asked, said):
    with pytest.raises(OutOfRange, match=f"{said}.*must lie between"):
        vines_needed(*asked)


@pytest.mark.parametrize("vines", [0, -1, 353])
def test_more_vines_than_stand_are_refused(vines):
    with pytest.raises(OutOfRange, match="between 1 and 352"):
        expected_error(vines, 95, 35, 352)
