"""The change of a mean is held to scipy, and far-out values to fences reckoned by hand."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from scipy import stats

from balance.formulas.errors import OutOfRange
from balance.formulas.samples.far_out import far_out
from balance.formulas.samples.mean_change import Sample, mean_change

WEIGHTS = st.lists(st.floats(0.1, 10), min_size=2, max_size=40)
ENDLESS = 10**12


def sample(values, population=ENDLESS):
    return Sample(len(values), population, float(np.mean(values)), float(np.std(values, ddof=1)))


@given(WEIGHTS, WEIGHTS)
def test_of_endless_blocks_it_is_the_interval_of_welch(before, after):
    assume(np.std(before) > 1e-3 and np.std(after) > 1e-3)  # scipy itself loses its digits below
    told = mean_change(sample(before), sample(after))
    welch = stats.ttest_ind(after, before, equal_var=False).confidence_interval(0.95)
    assert [told.low, told.high] == pytest.approx([welch.low, welch.high], rel=1e-5, abs=1e-6)


def test_where_every_vine_was_weighed_each_time_any_change_is_one():
    told = mean_change(Sample(4, 4, 1.0, 0.5), Sample(4, 4, 1.1, 0.5))
    assert (told.low, told.high, told.beyond_chance) == (0.1, 0.1, True)
    assert mean_change(Sample(4, 4, 1.0, 0.5), Sample(4, 4, 1.0, 0.5)).beyond_chance is False


def test_one_weight_of_several_vines_tells_no_chance():
    assert mean_change(Sample(1, 9, 1.0, None), Sample(5, 9, 1.1, 0.2)).beyond_chance is None


@given(WEIGHTS, WEIGHTS)
def test_pounds_and_kilograms_call_the_same_changes_real(before, after):
    in_pounds = mean_change(sample(before, 50), sample(after, 50)).beyond_chance
    kilograms = [[each * 0.45359237 for each in side] for side in (before, after)]
    assert mean_change(*(sample(side, 50) for side in kilograms)).beyond_chance == in_pounds


@pytest.mark.parametrize(("n", "population", "confidence"), [(0, 5, 95), (6, 5, 95), (3, 5, 20)])
def test_what_cannot_be_is_refused(n, population, confidence):
    with pytest.raises(OutOfRange):
        mean_change(Sample(n, population, 1.0, 0.1), Sample(3, 5, 1.0, 0.1), confidence)


def test_outside_the_outer_fences_is_far_out_and_on_them_is_not():
    """Quartiles of 1 to 8 are 2.75 and 6.25; three times 3.5 beyond lies 16.75."""
    middle = [1.0, 2.0, 3.0, 4.0, 5.0, 6.0, 7.0, 8.0]
    assert not far_out(middle).any()
    assert far_out([*middle, 20.0]).tolist() == [False] * 8 + [True]
    assert not far_out([*middle, 9.0]).any()
    assert not far_out([1.0] * 7 + [50.0]).any()
    assert not far_out([1.0, 1.0, 50.0]).any()


@given(st.lists(st.one_of(st.floats(0.1, 50), st.just(float("nan"))), max_size=60))
def test_far_out_is_the_same_in_pounds(weights):
    assert far_out(weights).tolist() == far_out([each / 0.45359237 for each in weights]).tolist()
