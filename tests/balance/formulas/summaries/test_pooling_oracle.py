"""What is said of many groups together is what numpy says of all their values."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from balance.formulas.errors import OutOfRange
from balance.formulas.summaries.binned_quantiles import added, quantiles_of_bins
from balance.formulas.summaries.pooling import Group, pooled
from balance.formulas.summaries.shares import share_of

WEIGHT = st.floats(0, 12, allow_nan=False).map(lambda each: round(each, 3))
GROUPS = st.lists(st.lists(WEIGHT, max_size=12), max_size=8)
WIDTH, BINS = 0.125, 65
SHARES = (0.05, 0.1, 0.25, 0.5, 0.75, 0.9, 0.95)


def group_of(values: list[float]) -> Group:
    return Group(
        len(values),
        float(np.mean(values)) if values else None,
        float(np.std(values, ddof=1)) if len(values) > 1 else None,
    )


def bins_of(values: list[float]) -> list[int]:
    counts = np.bincount(np.minimum((np.array(values) / WIDTH).astype(int), BINS - 1), minlength=BINS)
    return [int(each) for each in counts]


@given(GROUPS)
def test_number_mean_and_deviation_are_those_of_all_values_together(groups):
    values = [each for group in groups for each in group]
    found, expected = pooled(map(group_of, groups)), group_of(values)
    assert found.n == expected.n
    assert (found.mean is None) == (expected.mean is None)
    assert (found.deviation is None) == (expected.deviation is None)
    if expected.mean is not None:
        assert found.mean == pytest.approx(expected.mean, rel=1e-12, abs=1e-12)
    if expected.deviation is not None:
        assert found.deviation == pytest.approx(expected.deviation, rel=1e-9, abs=1e-9)


@given(GROUPS)
def test_the_order_of_the_groups_says_nothing(groups):
    one, other = pooled(map(group_of, groups)), pooled(map(group_of, reversed(groups)))
    assert one.n == other.n
    assert (one.mean or 0) == pytest.approx(other.mean or 0)
    assert (one.deviation or 0) == pytest.approx(other.deviation or 0, abs=1e-9)


@pytest.mark.parametrize(
    "group", [Group(-1, 1.0, 0.1), Group(2, 1.0, None), Group(2, float("nan"), 0.1), Group(3, 1.0, -0.1)]
)
def test_a_group_that_cannot_be_is_refused(group):
    with pytest.raises(OutOfRange):
        pooled([group])


@given(st.lists(WEIGHT, min_size=1, max_size=60), st.booleans())
def test_the_exact_quantile_lies_within_the_limits_that_the_bins_give(values, ends_known):
    ends = {"least": min(values), "most": max(values)} if ends_known else {}
    for told, exact in zip(
        quantiles_of_bins(bins_of(values), WIDTH, SHARES, **ends), np.quantile(values, SHARES), strict=True
    ):
        assert told.low <= exact + 1e-12
        assert told.high is None or exact <= told.high + 1e-12
        if told.value is not None:
            assert told.low <= told.value
            assert told.high is None or told.value <= told.high


@given(GROUPS)
def test_bins_of_groups_add_up_to_the_bins_of_all(groups):
    assert added(map(bins_of, filter(None, groups)), BINS) == bins_of([each for group in groups for each in group])


def test_a_quantile_in_the_last_bin_is_told_only_where_the_largest_value_is_known():
    assert quantiles_of_bins([0, 0, 3], 0.5, [0.5])[0].value is None
    told = quantiles_of_bins([0, 0, 3], 0.5, [0.5], most=4.0)[0]
    assert told.value == pytest.approx(2.5)
    assert (told.low, told.high) == (1.0, 4.0)


def test_where_nothing_was_counted_there_is_no_quantile():
    assert quantiles_of_bins([0, 0], 1.0, [0.5]) == []


@pytest.mark.parametrize(("counts", "width", "share"), [([1], 0.0, 0.5), ([-1, 2], 1.0, 0.5), ([1], 1.0, 1.5)])
def test_bins_that_cannot_be_are_refused(counts, width, share):
    with pytest.raises(OutOfRange):
        quantiles_of_bins(counts, width, [share])


def test_bins_of_another_number_are_refused():
    with pytest.raises(OutOfRange):
        added([[1, 2]], 3)


@given(st.integers(0, 10**6), st.integers(1, 10**6))
def test_a_share_lies_between_none_and_all(part, whole):
    assert share_of(part, whole) == pytest.approx(100 * min(1, part / whole), abs=1e-6)


def test_a_share_of_nothing_is_none_and_of_a_negative_refused():
    assert share_of(0, 0) is None
    with pytest.raises(OutOfRange):
        share_of(-1, 2)
