"""What holds of every yield and every thinning, by property tests."""

from __future__ import annotations

import math
from decimal import Decimal
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from balance.formulas.errors import OutOfRange
from balance.formulas.yields.estimates import Estimate, exact, share_of
from balance.formulas.yields.lag_phase import OwnFactor, own_factor
from balance.formulas.yields.planting_density import planting_density, row_length_on, whole_vines
from balance.formulas.yields.shoot_thinning import ShootRule, clusters_by_shoot_length, per_shoot
from balance.formulas.yields.thinning import clusters_between, expected_yield, thin, yield_by_crop_load
from balance.formulas.yields.yield_estimates import bearing_vines, estimate_yield
from records.units import Quantity, to_canonical

POUND = 0.45359237
estimates = st.builds(Estimate, st.floats(1, 1000), st.floats(0, 100), st.integers(1, 100))
weights = st.floats(0.01, 2)
rules = st.builds(ShootRule, st.floats(0.1, 0.3), st.floats(0.3, 0.6), st.integers(2, 4), st.booleans())


def error(estimate: Estimate) -> float:
    assert estimate.standard_error is not None
    return estimate.standard_error


def factor(pairs: Any) -> OwnFactor:
    found = own_factor(*zip(*pairs, strict=True))
    assert found is not None
    return found


@given(estimates, estimates, estimates, st.integers(2, 9))
def test_a_yield_is_linear_in_each_of_its_factors(vines, clusters, weight, times):
    once = estimate_yield(vines, clusters, weight).total
    more = [
        Estimate(each.value * times, error(each) * times, each.degrees_of_freedom) for each in (vines, clusters, weight)
    ]
    for grown in ((more[0], clusters, weight), (vines, more[1], weight), (vines, clusters, more[2])):
        total = estimate_yield(*grown).total
        assert total.value == pytest.approx(once.value * times)
        assert error(total) == pytest.approx(error(once) * times)


@given(estimates, estimates, estimates, st.floats(1.0, 2.5))
def test_a_weight_in_the_lag_phase_and_its_factor_are_two_factors(vines, clusters, early, factor):
    by_two = estimate_yield(vines, clusters, early, Estimate(factor, 0.1, 3))
    assert by_two.weight.value == pytest.approx(early.value * factor)
    assert by_two.total.value == pytest.approx(vines.value * clusters.value * early.value * factor)


@given(st.integers(1, 100_000), st.integers(1, 500), st.data())
def test_more_missing_vines_never_mean_more_that_bear(places, looked_at, data):
    found = data.draw(st.integers(0, looked_at - 1))
    fewer, more = (bearing_vines(places, share_of(each, looked_at)) for each in (found, found + 1))
    assert places >= fewer.value > more.value >= 0


@given(st.integers(1, 100_000), st.floats(1, 1e8))
def test_a_yield_of_a_hectare_is_the_total_over_the_area(vines, area_m2):
    estimate = estimate_yield(exact(vines), exact(40), exact(0.1), area_m2=area_m2)
    assert estimate.per_hectare is not None
    assert estimate.per_hectare.value == pytest.approx(vines * 4 / 1000 / (area_m2 / 10_000))


@given(st.lists(st.tuples(weights, weights), min_size=1, max_size=12), st.randoms(use_true_random=False))
def test_the_order_of_the_seasons_changes_no_factor(pairs, random):
    shuffled = random.sample(pairs, len(pairs))
    straight, mixed = factor(pairs), factor(shuffled)
    assert mixed.estimate.value == pytest.approx(straight.estimate.value)
    assert sorted(mixed.factors) == sorted(straight.factors)


@given(st.lists(st.tuples(weights, weights), min_size=1, max_size=12))
def test_a_factor_knows_no_unit(pairs):
    kilograms, pounds = factor(pairs), factor([(final / POUND / 4, early / POUND / 4) for final, early in pairs])
    assert pounds.factors == pytest.approx(kilograms.factors)


@given(st.floats(0, 200), st.floats(0, 50), weights)
def test_a_larger_wanted_yield_never_means_fewer_clusters(wanted, more, weight):
    leave = thin([math.nan, math.nan], [wanted, wanted + more], weight).leave
    assert leave[0] <= leave[1]


@given(st.floats(0, 200), weights, weights)
def test_heavier_clusters_never_mean_more_of_them(wanted, one, other):
    light, heavy = sorted((one, other))
    assert thin([math.nan], [wanted], heavy).leave[0] <= thin([math.nan], [wanted], light).leave[0]


@given(st.floats(0, 200), weights)
def test_the_whole_number_is_the_nearest_and_a_half_goes_to_fewer(wanted, weight):
    thinned = thin([math.nan], [wanted], weight)
    assert -0.5 <= thinned.leave[0] - thinned.unrounded[0] < 0.5


@given(st.integers(0, 300), st.floats(0, 200), weights)
def test_what_is_left_and_what_is_taken_off_are_what_was_counted(counted, wanted, weight):
    thinned = thin([counted], [wanted], weight)
    leave, take_off, lacking = (float(each[0]) for each in (thinned.leave, thinned.take_off, thinned.lacking))
    assert counted == leave + take_off - lacking
    assert take_off == 0 or lacking == 0
    assert thinned.expected_kg[0] == pytest.approx((counted - take_off) * weight)


@given(st.lists(st.tuples(st.integers(0, 300), st.floats(0, 50)), min_size=1, max_size=30), weights, st.randoms())
def test_the_order_of_the_vines_changes_nothing(vines, weight, random):
    order = list(range(len(vines)))
    random.shuffle(order)
    counted, prunings = (np.array(each, dtype=float) for each in zip(*vines, strict=True))
    straight = thin(counted, yield_by_crop_load(prunings, 7), weight)
    shuffled = thin(counted[order], yield_by_crop_load(prunings[order], 7), weight)
    assert np.array_equal(straight.leave[order], shuffled.leave)


def test_pounds_and_kilograms_of_the_same_weights_give_one_advice_in_1000_random_cases():
    random = np.random.default_rng(2027)
    for _ in range(1000):
        prunings = Quantity(Decimal(str(round(random.uniform(0.1, 12), 2))), "[lb_av]")
        cluster = Quantity(Decimal(str(round(random.uniform(0.05, 1.5), 2))), "[lb_av]")
        ratio = float(random.integers(4, 21))
        advice = []
        for weights_as_sent in ((prunings, cluster), tuple(in_kilograms(each) for each in (prunings, cluster))):
            pruned, each = (float(to_canonical(weight, "mass")) for weight in weights_as_sent)
            thinned = thin([80], yield_by_crop_load([pruned], ratio), each)
            advice.append((thinned.leave[0], thinned.take_off[0], thinned.lacking[0]))
        in_binary = thin([80], yield_by_crop_load([float(prunings.value) * POUND], ratio), float(cluster.value) * POUND)
        assert advice[0] == advice[1] == (in_binary.leave[0], in_binary.take_off[0], in_binary.lacking[0])


def in_kilograms(pounds: Quantity) -> Quantity:
    return Quantity(to_canonical(pounds, "mass"), "kg")


def test_a_half_typed_in_either_unit_goes_to_fewer():
    """2.25 lb at a ratio of 10 over clusters of half a pound are 45; over clusters of 0.2 lb 112.5, so 112."""
    for unit in (1.0, POUND):
        assert thin([math.nan], yield_by_crop_load([2.25 * unit], 10), 0.2 * unit).leave[0] == 112


@given(st.floats(0.5, 100), weights, st.floats(0.01, 0.3))
def test_the_clusters_of_the_wanted_yield_lie_between_those_of_the_interval(wanted, weight, relative):
    between = clusters_between(wanted, Estimate(weight, weight * relative, 100))
    assert between is not None
    fewest, most = between
    assert fewest <= thin([math.nan], [wanted], weight).leave[0] <= most


def test_a_weight_that_may_be_next_to_nothing_leaves_the_clusters_open():
    assert clusters_between(9.0, Estimate(0.2, 0.2, 2)) is None
    assert clusters_between(9.0, Estimate(0.2, None, 0)) is None


@given(st.integers(0, 500), weights, st.floats(0.01, 0.3))
def test_the_expected_yield_is_as_sure_as_the_weight_of_a_cluster(clusters, weight, relative):
    estimate, interval = expected_yield(clusters, Estimate(weight, weight * relative, 30))
    assert estimate.value == pytest.approx(clusters * weight)
    assert error(estimate) == pytest.approx(estimate.value * relative)
    assert interval is not None
    assert interval.low <= estimate.value <= interval.high


@given(st.integers(0, 2000), st.integers(1, 300))
def test_shoots_get_all_clusters_of_the_vine_and_differ_by_one_at_most(leave, shoots):
    share = per_shoot(leave, shoots)
    assert share.fewer * share.shoots_with_fewer + share.more * share.shoots_with_more == leave
    assert share.shoots_with_fewer + share.shoots_with_more == shoots
    assert share.more == share.fewer + 1


@given(st.lists(st.floats(0, 5), min_size=2, max_size=40), rules)
def test_a_longer_shoot_never_keeps_fewer_clusters(lengths, rule):
    kept = clusters_by_shoot_length(sorted(lengths), rule)
    assert (np.diff(kept) >= 0).all()


@given(st.integers(0, 240))
def test_a_step_is_the_same_in_inches_and_in_centimetres(quarters):
    """Each quarter of an inch, through the exact units of the edge."""
    rule = ShootRule(8 * 0.0254, 15 * 0.0254, 2)
    inches = Quantity(Decimal(quarters) / 4, "[in_i]")
    centimetres = Quantity(inches.value * Decimal("2.54"), "cm")
    lengths = [float(to_canonical(each, "length")) for each in (inches, centimetres)] + [quarters / 4 * 0.0254]
    assert len(set(clusters_by_shoot_length(lengths, rule).tolist())) == 1


@given(st.floats(0.3, 12), st.floats(0.5, 12))
def test_vines_on_an_area_are_the_same_from_feet_and_from_metres(vine, row):
    metres, feet = planting_density(vine, row), planting_density(vine / 0.3048 * 0.3048, row / 0.3048 * 0.3048)
    assert whole_vines(metres.per_acre) == whole_vines(feet.per_acre)
    assert metres.per_hectare / metres.per_acre == pytest.approx(2.47105, rel=1e-5)
    assert row_length_on(10_000, row) * row == pytest.approx(10_000)


REFUSED = {
    "a crop load of nothing": lambda: yield_by_crop_load([1.0], 0),
    "prunings of 51 kg": lambda: yield_by_crop_load([51.0], 10),
    "clusters without weight": lambda: thin([10], [5.0], 0.0),
    "a negative wish": lambda: thin([10], [-1.0], 0.1),
    "fewer than no clusters": lambda: thin([-1], [5.0], 0.1),
    "a shoot of 21 m": lambda: clusters_by_shoot_length([21.0], ShootRule(0.2, 0.4, 2)),
    "a shoot that is no number": lambda: clusters_by_shoot_length([math.nan], ShootRule(0.2, 0.4, 2)),
    "no shoots": lambda: per_shoot(10, 0),
    "no places": lambda: bearing_vines(0),
    "no area": lambda: estimate_yield(exact(1), exact(1), exact(1), area_m2=0.0),
    "vines 20 m apart": lambda: planting_density(20.0, 3.0),
    "rows without width": lambda: row_length_on(40.0, 0.0),
    "a cluster that weighs nothing": lambda: own_factor([0.0], [0.05]),
}


@pytest.mark.parametrize("what", REFUSED)
def test_what_no_vineyard_has_is_refused_with_its_limits(what):
    with pytest.raises(OutOfRange, match="must lie between"):
        REFUSED[what]()


def test_a_vine_that_was_not_weighed_or_counted_is_not_one_with_nothing():
    thinned = thin([math.nan, 0, 30], yield_by_crop_load([1.0, math.nan, 0.0], 10), 0.1)
    assert np.array_equal(thinned.leave, [100, math.nan, 0], equal_nan=True)
    assert np.array_equal(thinned.take_off, [math.nan, math.nan, 30], equal_nan=True)
