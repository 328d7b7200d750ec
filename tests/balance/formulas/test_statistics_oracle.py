"""Descriptive statistics against scipy, and what is said where there is too little to say."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from balance.formulas.statistics import summarise

values = st.lists(st.floats(0.001, 1e4), min_size=2, max_size=60)


@pytest.mark.filterwarnings("ignore:Precision loss")  # scipy's own, on samples of one repeated value
@given(values)
def test_mean_deviation_and_variation_are_scipys(sample):
    ours, theirs = summarise(sample), stats.describe(sample)
    assert ours.mean == pytest.approx(theirs.mean, rel=1e-12)
    assert ours.standard_deviation == pytest.approx(math.sqrt(theirs.variance), rel=1e-7, abs=1e-6)
    assert ours.coefficient_of_variation == pytest.approx(100 * stats.variation(sample, ddof=1), rel=1e-9, abs=1e-9)
    assert (ours.minimum, ours.maximum) == theirs.minmax


@given(values, st.integers(0, 10))
def test_what_was_not_measured_changes_nothing_but_its_own_count(sample, gaps):
    with_gaps = summarise([*sample, *[math.nan] * gaps])
    assert with_gaps.missing == gaps
    assert (with_gaps.n, with_gaps.median) == (len(sample), summarise(sample).median)


def test_zero_is_a_value_and_empty_is_not_zero():
    assert (summarise([0.0, 2.0]).mean, summarise([0.0, 2.0]).n) == (1.0, 2)
    assert (summarise([]).mean, summarise([math.nan]).mean) == (None, None)


def test_one_value_has_a_mean_and_no_deviation():
    summary = summarise([2.5])
    assert (summary.mean, summary.standard_deviation, summary.coefficient_of_variation) == (2.5, None, None)


def test_a_mean_of_zero_has_no_coefficient_of_variation():
    assert summarise([0.0, 0.0]).coefficient_of_variation is None
