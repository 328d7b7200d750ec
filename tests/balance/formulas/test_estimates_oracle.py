"""Propagation against the ``uncertainties`` package, samples and intervals against scipy, and chance against both."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from scipy import stats
from uncertainties import ufloat

from balance.formulas.errors import OutOfRange
from balance.formulas.yields.estimates import Estimate, exact, mean_of, next_of, ratio_of, share_of
from balance.formulas.yields.propagation import Interval, exact_standard_error, interval_of, product, times

values = st.lists(st.floats(0.01, 1000), min_size=2, max_size=40)


def error(estimate: Estimate) -> float:
    assert estimate.standard_error is not None
    return estimate.standard_error


def interval(estimate: Estimate, confidence: float = 95) -> Interval:
    found = interval_of(estimate, confidence)
    assert found is not None
    return found


# Of an error below 1e-150 the square is no normal float any more, and nothing can be said of its last digits.
errors = st.floats(0, 1e4).map(lambda drawn: drawn if drawn >= 1e-100 else 0.0)
estimates = st.builds(Estimate, st.floats(0.01, 1e5), errors, st.integers(1, 500), st.none())


@pytest.mark.filterwarnings("ignore:Using UFloat objects")  # an exact factor is one of the cases
@given(st.lists(estimates, min_size=1, max_size=5))
def test_a_product_has_the_error_that_uncertainties_gives(factors):
    theirs = math.prod((ufloat(each.value, error(each)) for each in factors), start=ufloat(1, 0))
    ours = product(*factors)
    assert ours.value == pytest.approx(theirs.nominal_value, rel=1e-9)
    assert error(ours) == pytest.approx(theirs.std_dev, rel=1e-9, abs=1e-12)


def test_a_factor_of_zero_still_has_the_others_to_multiply():
    """First order at zero: 0 ± 2 clusters of 0.1 kg are 0 ± 0.2 kg, as uncertainties says too."""
    theirs = ufloat(0, 2) * ufloat(0.1, 0.01)
    assert error(product(Estimate(0.0, 2.0, 5), Estimate(0.1, 0.01, 9))) == pytest.approx(theirs.std_dev)


@given(estimates, estimates)
def test_first_order_lies_between_the_unbiased_estimate_and_the_exact_variance(a, b):
    """Goodman 1960: for two factors the exact variance adds s1² s2², its unbiased estimate subtracts it."""
    extra = (error(a) * error(b)) ** 2
    first = error(product(a, b)) ** 2
    whole = (exact_standard_error(a, b) or 0.0) ** 2
    assert whole == pytest.approx(first + extra, rel=1e-9, abs=1e-12)
    assert whole >= first * (1 - 1e-12)


def test_the_exact_variance_is_what_chance_gives():
    """Three independent normal factors, 400,000 draws; the standard error of a variance by so many is 0.3 %."""
    factors = (Estimate(767, 40.0), Estimate(40, 8.0), Estimate(0.11, 0.02))
    random = np.random.default_rng(2027)
    draws = np.prod([random.normal(each.value, error(each), 400_000) for each in factors], axis=0)
    assert draws.std(ddof=1) == pytest.approx(exact_standard_error(*factors), rel=0.01)
    assert error(product(*factors)) < draws.std(ddof=1)


@given(st.lists(estimates, min_size=2, max_size=5))
def test_degrees_of_freedom_lie_between_the_fewest_and_all_together(factors):
    assume(all(error(each) / each.value > 1e-6 for each in factors))
    ours = product(*factors).degrees_of_freedom
    each_of_them = [factor.degrees_of_freedom for factor in factors]
    assert min(each_of_them) * (1 - 1e-9) <= ours <= sum(each_of_them) * (1 + 1e-9)


def test_welch_and_satterthwaite_is_what_scipy_uses_for_two_means():
    """At equal values a product has the relative error of a sum: the degrees of freedom are those of Welch's t test."""
    random = np.random.default_rng(5)
    first, second = random.normal(10, 1, 8), random.normal(10, 3, 15)
    welch = stats.ttest_ind(first, second, equal_var=False)
    one, two = (Estimate(1.0, error(mean_of(each)), each.size - 1) for each in (first, second))
    assert product(one, two).degrees_of_freedom == pytest.approx(welch.df, rel=1e-12)


@settings(deadline=None)  # the first distribution asked of scipy takes its time
@given(values, st.floats(50, 99.9))
def test_the_interval_of_a_mean_is_scipys(sample, confidence):
    estimate = mean_of(sample)
    assume(error(estimate) > 1e-9)
    low, high = stats.t.interval(confidence / 100, len(sample) - 1, np.mean(sample), stats.sem(sample))
    ours = interval(estimate, confidence)
    assert ours.high == pytest.approx(high, rel=1e-9)
    assert ours.low == pytest.approx(max(0.0, low), rel=1e-9, abs=1e-9)


@given(values)
def test_a_mean_of_the_whole_population_is_exact_and_a_part_of_it_is_surer_than_of_many(sample):
    assert mean_of(sample, len(sample)).standard_error == 0
    part, of_many = mean_of(sample, 2 * len(sample)), mean_of(sample)
    assert error(part) == pytest.approx(error(of_many) * math.sqrt(0.5))


@given(values, st.randoms(use_true_random=False))
def test_the_order_of_a_sample_changes_nothing(sample, random):
    shuffled = random.sample(sample, len(sample))
    assert mean_of(shuffled).value == pytest.approx(mean_of(sample).value)
    assert error(mean_of(shuffled)) == pytest.approx(error(mean_of(sample)))


@given(values, st.integers(1, 50))
def test_totals_of_equal_numbers_are_the_mean_of_their_means(totals, each):
    counts = [each] * len(totals)
    ratio, mean = ratio_of(totals, counts), mean_of([total / each for total in totals])
    assert ratio.value == pytest.approx(mean.value)
    assert error(ratio) == pytest.approx(error(mean), rel=1e-6, abs=1e-9)


def test_the_error_of_a_ratio_is_what_chance_gives():
    """Vines of 3 to 12 clusters, 20 a sample, 4,000 samples: the estimated error holds to 5 %."""
    random = np.random.default_rng(7)
    ratios, errors = [], []
    for _ in range(4000):
        counts = random.integers(3, 13, 20)
        weights = random.normal(0.1, 0.02, 20) * counts
        estimate = ratio_of(weights, counts)
        ratios.append(estimate.value)
        errors.append(error(estimate))
    assert np.mean(errors) == pytest.approx(np.std(ratios), rel=0.05)


@given(st.integers(2, 500), st.data())
def test_a_share_is_the_mean_of_noughts_and_ones(looked_at, data):
    found = data.draw(st.integers(0, looked_at))
    ones = np.r_[np.ones(found), np.zeros(looked_at - found)]
    share, mean = share_of(found, looked_at), mean_of(ones)
    assert share.value == pytest.approx(mean.value)
    assert error(share) == pytest.approx(error(mean), abs=1e-12)


def test_the_next_season_falls_into_its_interval_as_often_as_stated():
    """20,000 times five seasons and a sixth, at 90 %: the interval of a prediction, not of a mean."""
    random = np.random.default_rng(11)
    seasons = random.normal(2.0, 0.2, (20_000, 6))
    hits = 0
    for row in seasons:
        of_five = interval(next_of(row[:5]), 90)
        hits += of_five.low <= row[5] <= of_five.high
    assert hits / len(seasons) == pytest.approx(0.90, abs=0.01)


@pytest.mark.parametrize("estimate", [mean_of([3.0]), ratio_of([0.5], [10]), share_of(0, 1), next_of([2.1])])
def test_one_value_has_no_spread_and_no_interval(estimate):
    assert estimate.standard_error is None
    assert interval_of(estimate) is None
    assert product(estimate, exact(2)).standard_error is None


@pytest.mark.parametrize("sample", [[], [-1.0], [math.inf], [math.nan]])
def test_what_cannot_be_a_measurement_is_refused(sample):
    for estimate in (mean_of, next_of, lambda each: ratio_of(each, [1] * len(each))):
        with pytest.raises(OutOfRange):
            estimate(sample)


@pytest.mark.parametrize(("found", "looked_at", "population"), [(3, 2, None), (-1, 2, None), (0, 0, None), (1, 5, 4)])
def test_a_share_that_cannot_be_is_refused(found, looked_at, population):
    with pytest.raises(OutOfRange):
        share_of(found, looked_at, population)


@pytest.mark.parametrize("confidence", [49.9, 99.95, math.nan])
def test_a_confidence_beyond_its_limits_is_refused(confidence):
    with pytest.raises(OutOfRange):
        interval_of(Estimate(1.0, 0.1, 5), confidence)


@given(estimates, st.floats(0.1, 100))
def test_another_unit_scales_figure_and_error_alike(estimate, factor):
    scaled = times(estimate, factor)
    assert scaled.value == pytest.approx(estimate.value * factor)
    assert error(scaled) == pytest.approx(error(estimate) * factor)
