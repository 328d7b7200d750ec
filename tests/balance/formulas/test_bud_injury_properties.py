"""What holds for every sample of buds and every adjustment, by property tests and against statistics libraries."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats
from statsmodels.stats.proportion import proportion_confint

from balance.buds.published import newest_adjustments
from balance.formulas.buds.adjusted_targets import adjust_target, adjusted_nodes, factors_over
from balance.formulas.buds.bud_adjustments import ADD_PERCENT, NO_CHANGE, OK, Band, adjustments_of, judge_injury
from balance.formulas.buds.bud_injury import bud_injury, crop_potential
from balance.formulas.errors import OutOfRange
from balance.formulas.proportions import chance_of_unlikeness, exact_share, needed_for_margin

samples = st.integers(1, 3000).flatmap(lambda of: st.tuples(st.integers(0, of), st.just(of)))
confidences = st.sampled_from([0.5, 0.8, 0.9, 0.95, 0.99, 0.999])
methods = st.sampled_from(newest_adjustments())


@given(samples, confidences)
def test_the_exact_interval_is_that_of_statsmodels(sample, confidence):
    count, of = sample
    share = exact_share(count, of, confidence)
    low, high = proportion_confint(count, of, alpha=1 - confidence, method="beta")
    assert (share.low_percent, share.high_percent) == pytest.approx((100 * low, 100 * high), rel=1e-8, abs=1e-9)
    assert share.low_percent <= share.percent <= share.high_percent


@given(samples)
def test_the_exact_interval_is_that_of_scipy(sample):
    count, of = sample
    theirs = stats.binomtest(count, of).proportion_ci(0.95, method="exact")
    ours = exact_share(count, of)
    assert (ours.low_percent, ours.high_percent) == pytest.approx((100 * theirs.low, 100 * theirs.high), abs=1e-7)


@given(samples, st.integers(2, 20))
def test_more_of_the_same_makes_the_interval_no_wider(sample, times):
    count, of = sample
    assert exact_share(count * times, of * times).margin_percent <= exact_share(count, of).margin_percent + 1e-9


@given(st.floats(0, 100).map(lambda percent: round(percent, 6)), st.floats(1, 40), st.sampled_from([0.8, 0.95]))
def test_the_sample_size_is_the_smallest_that_keeps_the_margin(expected, margin, confidence):
    needed = needed_for_margin(expected, margin, confidence)

    def farthest(of: int) -> float:
        """The same by scipy's beta distribution."""
        count, tail = expected / 100 * of, (1 - confidence) / 2
        low = stats.beta.ppf(tail, count, of - count + 1) if count > 0 else 0
        high = stats.beta.ppf(1 - tail, count + 1, of - count) if count < of else 1
        return float(max(expected - 100 * low, 100 * high - expected))

    assert farthest(needed) <= margin + 1e-7
    assert needed == 1 or farthest(needed - 1) > margin - 1e-7


@pytest.mark.parametrize("expected", [5e-324, 1e-300, 1e-12, 1e-9, 1e-8])
def test_a_share_that_is_as_good_as_nothing_takes_as_many_as_nothing(expected):
    assert needed_for_margin(expected, 5) == needed_for_margin(0, 5) == 72


def test_the_hardest_sample_size_is_far_below_the_bound_of_the_search():
    """By the normal distribution: (z × 50 / 0.5)² with z = 3.29 for 99.9 %."""
    hardest = (stats.norm.ppf(0.9995) * 100) ** 2
    assert needed_for_margin(50, 0.5, 0.999) == pytest.approx(hardest, rel=0.01)


@given(methods, samples, st.floats(1, 300))
def test_more_dead_buds_never_mean_fewer_nodes_as_long_as_there_is_a_number(method, sample, normal):
    dead, of = sample
    targets = [adjust_target(method, bud_injury(of, of - each), normal) for each in (dead, min(dead + of // 10, of))]
    fewer, more = (target.unrounded for target in targets)
    assert fewer is None or more is None or more >= fewer
    assert fewer is None or fewer >= round(normal, 6)


@given(methods, samples, st.floats(1, 300), st.floats(0, 1))
def test_the_range_holds_every_target_of_the_interval_and_is_reached_at_its_ends(method, sample, normal, where):
    dead, of = sample
    target = adjust_target(method, bud_injury(of, of - dead), normal)
    low, high = target.injury.low_percent, target.injury.high_percent
    inside = judge_injury(method, low + where * (high - low))
    if inside.factor is not None:
        nodes = int(adjusted_nodes(normal, inside.factor))
        assert target.low is not None and target.low <= nodes
        assert target.high is None or nodes <= target.high
    if target.over.whole:
        assert target.nodes is None or target.low <= target.nodes <= target.high  # type: ignore[operator]


@given(methods, samples)
def test_the_range_says_whether_part_of_the_interval_has_no_number(method, sample):
    dead, of = sample
    injury = bud_injury(of, of - dead)
    over = factors_over(method, injury)
    width = injury.high_percent - injury.low_percent
    met = {judge_injury(method, injury.low_percent + width * (step + 0.37) / 400).status for step in range(400)}
    assert met - {OK} <= set(over.statuses)
    assert over.whole == (not over.statuses)
    assert OK not in met or over.low is not None


def test_where_nothing_lives_the_survival_rule_has_a_lower_end_and_no_upper():
    survival = next(each for each in newest_adjustments() if each.code == "survival-rule")
    target = adjust_target(survival, bud_injury(10, 0), 40)
    assert (target.nodes, target.high, target.over.whole) == (None, None, False)
    assert target.low == pytest.approx(40 / (1 - stats.binomtest(10, 10).proportion_ci().low), abs=0.5)


@given(samples, st.floats(0, 100), st.data())
def test_the_crop_potential_lies_between_what_lives_and_all(sample, fruitfulness, data):
    alive, of = sample
    secondaries = data.draw(st.integers(0, of))
    found = crop_potential(of, alive, secondaries, fruitfulness)
    assert 100 * alive / of - 1e-6 <= found.low_percent <= found.high_percent <= 100 + 1e-6
    assert found.percent in {None, found.low_percent}


@given(
    st.integers(1, 60).flatmap(lambda of: st.lists(st.tuples(st.booleans(), st.booleans()), min_size=of, max_size=of))
)
def test_the_bounds_of_the_crop_potential_hold_what_the_nodes_themselves_say(nodes):
    """Each node has its own primary and secondary; the two counts bound what they could bear together."""
    primaries, secondaries = (sum(column) for column in zip(*nodes, strict=True))
    rescued = sum(secondary and not primary for primary, secondary in nodes)
    found = crop_potential(len(nodes), primaries, secondaries, 35)
    assert found.rescued_low <= rescued <= found.rescued_high
    truly = 100 * (primaries + 0.35 * rescued) / len(nodes)
    assert found.low_percent - 1e-6 <= truly <= found.high_percent + 1e-6


@given(
    st.lists(
        st.integers(20, 200).flatmap(lambda of: st.tuples(st.integers(0, of), st.just(of))), min_size=2, max_size=6
    )
)
def test_unlike_samples_are_told_as_scipy_tells_them(several):
    dead, of = ([sample[part] for sample in several] for part in (0, 1))
    ours = chance_of_unlikeness(dead, of)
    if not 0 < sum(dead) < sum(of):
        assert ours is None
        return
    alive = [total - each for each, total in several]
    theirs = stats.chi2_contingency([dead, alive], correction=False).pvalue
    assert ours == pytest.approx(theirs, rel=1e-9, abs=1e-12)


@pytest.mark.parametrize(
    ("call", "said"),
    [(lambda: exact_share(1, 0), "the number looked at is 0"), (lambda: exact_share(3, 2), "the count is 3"),
     (lambda: exact_share(1, 2, 1.0), "the confidence is 1.0"), (lambda: bud_injury(10, 11), "primary buds alive is 11"),
     (lambda: needed_for_margin(101, 5), "expected share"), (lambda: needed_for_margin(50, 0.1), "wanted margin"),
     (lambda: crop_potential(0, 0, 0, 35), "nodes examined is 0"), (lambda: crop_potential(9, 9, 10, 35), "secondary"),
     (lambda: crop_potential(9, 9, 9, 101), "fruitfulness"),
     (lambda: judge_injury(newest_adjustments()[0], float("nan")), "injury"),
     (lambda: adjust_target(newest_adjustments()[0], bud_injury(9, 9), 0), "normal target"),
     (lambda: adjust_target(newest_adjustments()[0], bud_injury(9, 9), float("inf")), "normal target")],
)  # fmt: skip
def test_what_cannot_be_is_refused_by_name(call, said):
    with pytest.raises(OutOfRange, match=said):
        call()


@pytest.mark.parametrize(("rule", "value"), [("halve", None), (ADD_PERCENT, None), (NO_CHANGE, 35.0)])
def test_a_catalogue_with_a_rule_that_nobody_knows_is_refused(rule, value):
    with pytest.raises(ValueError, match="is no rule"):
        adjustments_of([Band("x", 1, "X", 0, True, 15, True, rule, value, "a page", "READ", "", None, "")])
