"""What holds for every pruner's guesses, by property tests, and against scipy."""

from __future__ import annotations

import math
from decimal import Decimal

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from scipy import stats

from balance.formulas.errors import OutOfRange
from balance.formulas.guesses.agreement_factors import limit_factors
from balance.formulas.guesses.calibration import Differences, agreement_of, differences_of, percent_differences_of
from balance.formulas.guesses.calibration_steps import calibration_steps, needed_sentence, trust_sentence
from balance.formulas.guesses.eye_trust import pairs_needed, trust_in
from records.units import Quantity, to_canonical

POUND = 0.45359237
readings = st.integers(0, 2000).map(lambda hundredths: hundredths / 100)
pairs = st.lists(st.tuples(readings, readings), min_size=3, max_size=80)
tolerances = st.floats(0.01, 5)


def columns(several):
    return tuple(np.array(column) for column in zip(*several, strict=True))


@pytest.mark.filterwarnings("ignore:Precision loss")  # scipy's own, where all differences are one number
@given(pairs)
def test_bias_and_its_interval_are_scipys_paired_t_interval(several):
    guesses, weights = columns(several)
    agreement = agreement_of(differences_of(guesses, weights))
    theirs = stats.ttest_rel(guesses, weights).confidence_interval(0.95)
    assume((agreement.spread or 0) > 1e-6)
    assert agreement.bias == pytest.approx(np.mean(guesses - weights), abs=1e-9)
    assert (agreement.bias_low, agreement.bias_high) == pytest.approx((theirs.low, theirs.high), rel=1e-7, abs=1e-7)


@given(st.integers(3, 500), st.sampled_from([0.5, 0.8, 0.95, 0.999]))
def test_the_intervals_of_spread_and_limits_are_those_of_scipys_distributions(n, confidence):
    agreement = agreement_of(Differences(n, 0.5, 2.0, 4.0), confidence)
    tail, z = (1 - confidence) / 2, stats.norm.ppf(0.975)
    spread = [2 * math.sqrt((n - 1) / stats.chi2.ppf(each, n - 1)) for each in (1 - tail, tail)]
    limits = [stats.nct.ppf(each, n - 1, z * math.sqrt(n)) / math.sqrt(n) for each in (tail, 1 - tail)]
    assert (agreement.spread_low, agreement.spread_high) == pytest.approx(spread, rel=1e-9)
    assert (agreement.inner, agreement.outer) == pytest.approx(limits, rel=1e-7)
    assert agreement.relative_bias == 12.5


def test_the_outer_factor_holds_the_true_limit_as_often_as_it_says():
    """20,000 pruners of 12 guesses each: the upper limit of the truth, 1.96, is inside as often as 97.5 and 2.5 %."""
    random = np.random.default_rng(2027)
    guesses = random.normal(size=(20_000, 12))
    inner, outer = limit_factors(12, 0.95)
    means, spreads, truth = guesses.mean(axis=1), guesses.std(axis=1, ddof=1), stats.norm.ppf(0.975)
    assert np.mean(means + outer * spreads >= truth) == pytest.approx(0.975, abs=0.004)
    assert np.mean(means + inner * spreads >= truth) == pytest.approx(0.025, abs=0.004)


@given(pairs, tolerances)
def test_the_verdict_is_the_criterion_as_it_is_written(several, tolerance):
    agreement = agreement_of(differences_of(*columns(several)))
    trust = trust_in(agreement, tolerance)
    off, spread = abs(agreement.bias or 0), agreement.spread or 0
    farthest, nearest = (off + (factor or 0) * spread for factor in (agreement.outer, agreement.inner))
    if farthest < tolerance * (1 - 1e-6) and len(several) >= 20:
        assert trust.verdict == "trusted"
    elif nearest > tolerance * (1 + 1e-6):
        assert trust.verdict == "not_trusted"
    elif nearest < tolerance * (1 - 1e-6):
        assert trust.verdict in {"cannot_tell_yet", "trusted"}


@given(st.integers(3, 60), st.floats(-1, 1), st.floats(0, 1), tolerances)
def test_as_many_more_weighings_as_are_named_do_tell_and_one_fewer_does_not(n, bias, spread, tolerance):
    trust = trust_in(agreement_of(Differences(n, bias, spread, 2.0)), tolerance)
    if trust.settled_at is None:
        assert abs(abs(bias) + 1.96 * spread - tolerance) < 0.05 * tolerance
        return
    later = trust_in(agreement_of(Differences(trust.settled_at, bias, spread, 2.0)), tolerance)
    assert later.verdict != "cannot_tell_yet"
    assert trust.more == trust.settled_at - n >= 0
    if trust.more:
        before = trust_in(agreement_of(Differences(trust.settled_at - 1, bias, spread, 2.0)), tolerance)
        assert before.verdict == "cannot_tell_yet"


@given(st.integers(20, 200), st.floats(-0.5, 0.5), st.floats(0, 0.5), tolerances, st.floats(1, 3))
def test_a_wider_tolerance_never_loses_trust(n, bias, spread, tolerance, times):
    agreement = agreement_of(Differences(n, bias, spread, 2.0))
    if trust_in(agreement, tolerance).verdict == "trusted":
        assert trust_in(agreement, tolerance * times).verdict == "trusted"


@given(st.floats(0, 2), st.floats(0.02, 2), st.floats(0.05, 1))
def test_the_pairs_needed_are_the_fewest_by_scipys_quantiles(spread, bias_within, spread_within):
    needed = pairs_needed(spread, bias_within, spread_within)

    def margin(n: int) -> float:
        return float(stats.t.ppf(0.975, n - 1) * spread / math.sqrt(n))

    def factor(n: int) -> float:
        return math.sqrt((n - 1) / stats.chi2.ppf(0.025, n - 1))

    if needed.for_bias is None:
        assert margin(10_000) > bias_within * (1 - 1e-8)
    else:
        assert margin(needed.for_bias) <= bias_within * (1 + 1e-8)
        assert needed.for_bias == 3 or margin(needed.for_bias - 1) > bias_within * (1 - 1e-8)
    assert needed.for_spread is not None
    assert factor(needed.for_spread) <= 1 + spread_within + 1e-9
    assert needed.for_spread == 3 or factor(needed.for_spread - 1) > 1 + spread_within - 1e-9


@given(pairs, st.randoms())
def test_the_order_of_the_vines_changes_nothing(several, random):
    shuffled = random.sample(several, len(several))
    ours, theirs = (agreement_of(differences_of(*columns(each))) for each in (several, shuffled))
    assert ours.bias == pytest.approx(theirs.bias, abs=1e-9)
    assert ours.spread == pytest.approx(theirs.spread, abs=1e-9)


def test_pounds_and_kilograms_of_the_same_readings_give_one_verdict_in_1000_random_cases():
    random = np.random.default_rng(2027)
    for _ in range(1000):
        n = int(random.integers(3, 40))
        weights = [Decimal(str(round(random.uniform(0.2, 9), 2))) for _ in range(n)]
        guesses = [max(Decimal(0), weight + Decimal(str(round(random.normal(0, 0.3), 1)))) for weight in weights]
        allowed = Decimal(str(round(random.uniform(0.2, 1.5), 1)))
        verdicts = []
        for unit in ("[lb_av]", "kg"):  # as typed in pounds, and as typed in the kilograms that they are
            read = [[_typed(each, unit) for each in column] for column in (guesses, weights, [allowed])]
            seen, tolerance = differences_of(read[0], read[1]), read[2][0]
            percent = percent_differences_of(read[0], read[1])
            verdicts.append((_advice(seen, tolerance), _advice(percent, 15.0)))
        assert verdicts[0] == verdicts[1]


def _typed(pounds: Decimal, unit: str) -> float:
    kilograms = to_canonical(Quantity(pounds, "[lb_av]"), "mass")
    return float(to_canonical(Quantity(round(kilograms, 12), "kg"), "mass") if unit == "kg" else kilograms)


def _advice(seen: Differences, tolerance: float) -> tuple[object, ...]:
    agreement = agreement_of(seen)
    trust = trust_in(agreement, tolerance)
    needed = pairs_needed(agreement.spread or 0, tolerance / 2, 0.25)
    return trust.verdict, trust.more, trust.once_corrected, agreement.leaning, needed.for_bias, needed.for_spread


@given(pairs, st.sampled_from([1 / POUND, 1000.0]))
def test_in_another_unit_the_figures_are_scaled_and_nothing_else_changes(several, factor):
    agreement = agreement_of(differences_of(*columns(several)))
    scaled = agreement.in_unit(factor)
    assert (scaled.pairs, scaled.relative_bias, scaled.leaning) == (
        agreement.pairs, agreement.relative_bias, agreement.leaning,
    )  # fmt: skip
    assert scaled.high == pytest.approx(agreement.high * factor)


def test_what_was_not_weighed_is_left_out_and_zero_is_a_weight():
    nan = math.nan
    assert differences_of([1.0, nan, 2.0, 0.5], [0.5, 1.0, nan, 0.0]).n == 2
    assert percent_differences_of([1.0, 0.5], [0.5, 0.0]).n == 1


@pytest.mark.parametrize("count", [0, 1, 2])
def test_fewer_than_three_pairs_give_a_reason_and_no_number(count):
    agreement = agreement_of(differences_of([1.0] * count, [1.1] * count))
    trust = trust_in(agreement, 0.2)
    assert (agreement.bias, agreement.spread, agreement.leaning, trust.verdict, trust.more) == (None,) * 5
    assert (agreement.reason or "").startswith(f"{count} guess")
    assert trust_sentence(trust, agreement, "kg") == agreement.reason
    assert calibration_steps(agreement, "kg") == []


@pytest.mark.parametrize(
    ("bias", "spread", "tolerance", "said"),
    [(0.0, 0.05, 0.2, "trust the eye between"), (-0.3, 0.05, 0.2, "take every guess for 0.3 kg too light"),
     (0.0, 0.3, 0.2, "go on weighing every vine"), (0.02, 0.09, 0.2, "more will tell"),
     (0.004, 0.1, 0.2, "no number of weighings")],
)  # fmt: skip
def test_each_verdict_says_what_to_do(bias, spread, tolerance, said):
    agreement = agreement_of(Differences(25, bias, spread, 1.0))
    assert said in trust_sentence(trust_in(agreement, tolerance), agreement, "kg")


def test_steps_say_to_which_side_the_guesses_lean_and_by_how_much_of_the_weight():
    steps = calibration_steps(agreement_of(Differences(25, 0.1, 0.2, 2.0)), "[lb_av]")
    assert [step.label for step in steps] == ["bias", "relative bias", "spread", "limits of agreement"]
    assert "0.1 lb too heavy" in steps[0].sentence and "more than chance" in steps[1].sentence
    chance = calibration_steps(agreement_of(Differences(25, 0.0, 0.2, None)), "kg")
    assert "the guess is right" in chance[0].sentence and len(chance) == 3


def test_a_precision_that_nobody_reaches_is_said_so():
    assert "more weighings than anybody makes" in needed_sentence(pairs_needed(2.0, 0.001, 0.25), 5, "kg")


@pytest.mark.parametrize(
    ("call", "said"),
    [(lambda: trust_in(agreement_of(Differences(9, 0, 1, 1)), 0.0), "tolerance"),
     (lambda: trust_in(agreement_of(Differences(9, 0, 1, 1)), math.inf), "tolerance"),
     (lambda: agreement_of(Differences(-1, 0, 1, 1)), "number of pairs"),
     (lambda: agreement_of(Differences(9, 0, 1, 1), 1.0), "confidence"),
     (lambda: pairs_needed(1, 0, 0.25), "precision of the bias"), (lambda: pairs_needed(1, 1, math.nan), "spread"),
     (lambda: pairs_needed(-1, 1, 1), "the spread is -1"), (lambda: pairs_needed(1, 1, 1, 0.4), "confidence")],
)  # fmt: skip
def test_what_cannot_be_is_refused_by_name(call, said):
    with pytest.raises(OutOfRange, match=said):
        call()
