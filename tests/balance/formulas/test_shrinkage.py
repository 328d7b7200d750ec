"""Shrunken means against a mixed model, by simulation, and what holds for all of them."""

from __future__ import annotations

import math
import warnings

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats
from statsmodels.regression.mixed_linear_model import MixedLM
from statsmodels.stats.meta_analysis import combine_effects

from balance.formulas.errors import OutOfRange
from balance.formulas.samples.shrinkage import (
    CANNOT_BE_TOLD,
    NO_SPREAD,
    TOO_FEW_BLOCKS_A_FARM,
    TOO_FEW_FARMS,
    TOO_FEW_GROUPS,
    Group,
    Shrinkage,
    shrink,
)
from balance.formulas.samples.variance_parts import between_variance

a_group = st.builds(
    Group,
    n=st.integers(2, 60),
    mean=st.integers(200, 6000).map(lambda grams: grams / 1000),
    standard_deviation=st.integers(50, 2000).map(lambda grams: grams / 1000),
    population=st.none() | st.integers(60, 2000),
    farm=st.integers(0, 4),
)
some_groups = st.lists(a_group, min_size=1, max_size=20)


def of(values: np.ndarray, population: int | None = None, farm: int = 0) -> Group:
    return Group(len(values), float(values.mean()), float(values.std(ddof=1)), population, farm)


def test_blocks_of_equal_samples_come_out_as_a_mixed_model_by_statsmodels_has_them():
    """Restricted likelihood and moments agree where all samples are of one size and the means differ beyond chance."""
    chance = np.random.default_rng(11)
    values = [chance.normal(mean, 0.9, 8) for mean in (1.2, 2.0, 2.4, 2.6, 3.3, 3.9)]
    told = shrink([of(each) for each in values])
    labels = np.repeat(np.arange(6), 8)
    fitted = MixedLM(np.concatenate(values), np.ones((48, 1)), labels).fit(reml=True)
    assert told.within == pytest.approx(fitted.scale, rel=1e-3)
    assert told.between_groups == pytest.approx(float(fitted.cov_re[0, 0]), rel=1e-2)
    theirs = [fitted.fe_params[0] + float(np.asarray(fitted.random_effects[label])[0]) for label in range(6)]
    assert [each.shrunken for each in told.means] == pytest.approx(theirs, rel=1e-3)


def test_the_variance_between_blocks_is_that_of_the_analysis_of_variance():
    """(mean square between − within) / n0, from scipy's F, with samples of unlike sizes."""
    chance = np.random.default_rng(3)
    values = [chance.normal(mean, 0.8, n) for mean, n in ((1.0, 4), (2.2, 9), (2.9, 17), (3.1, 6), (1.7, 30))]
    told = shrink([of(each) for each in values])
    sizes = np.array([len(each) for each in values])
    within = sum(((each - each.mean()) ** 2).sum() for each in values) / (sizes.sum() - 5)
    n0 = (sizes.sum() - (sizes**2).sum() / sizes.sum()) / 4
    by_anova = within * (float(stats.f_oneway(*values).statistic) - 1) / n0
    assert told.within == pytest.approx(within)
    assert told.between_groups == pytest.approx(by_anova)


def test_with_equal_variances_it_is_the_moment_estimate_of_meta_analysis():
    """DerSimonian & Laird's, by statsmodels: the same where all variances are equal."""
    means, variances = np.array([0.2, 0.5, 0.9, 1.4, 1.5]), np.full(5, 0.04)
    theirs = combine_effects(means, variances, method_re="dl").tau2
    assert between_variance(means, variances, np.ones(5), np.zeros(5, dtype=np.intp)) == pytest.approx(theirs)


@pytest.mark.parametrize("true", [0.0, 0.3])
def test_the_estimate_between_blocks_is_unbiased_before_it_is_cut_off(true):
    """10,000 farms of four blocks with unlike samples: the mean of the raw estimates is the truth."""
    chance = np.random.default_rng(5)
    counts, farms = np.array([3.0, 5.0, 12.0, 40.0]), np.zeros(4, dtype=np.intp)
    variances = 0.6 / counts
    raw = []
    for _ in range(10_000):
        means = chance.normal(2, math.sqrt(true), 4) + chance.normal(0, np.sqrt(variances))
        total = counts.sum()
        seen = (counts * (means - (counts * means).sum() / total) ** 2).sum()
        by_chance = (counts * variances * (1 - counts / total)).sum()
        raw.append((seen - by_chance) / (total - (counts**2).sum() / total))
        assert between_variance(means, variances, counts, farms) == pytest.approx(max(0, raw[-1]))
    assert np.mean(raw) == pytest.approx(true, abs=4 * np.std(raw) / 100)


@pytest.mark.parametrize(("blocks", "apart", "most"), [(3, 0.3, 0.85), (6, 0.3, 0.7), (6, 1.0, 1.0), (20, 0.6, 0.85), (3, 3.0, 1.06)])  # fmt: skip
def test_shrunken_means_lie_nearer_to_the_truth_in_all(blocks, apart, most):
    """2000 farms, 5 vines a block, spread 0.9: squared error of all blocks against that of plain means.

    With three blocks very unlike each other it may cost a few per cent, as the note of the method says.
    """
    chance = np.random.default_rng(blocks * 100 + int(10 * apart))
    plain = shrunken = 0.0
    for _ in range(2000):
        truths = chance.normal(4, apart, blocks)
        told = shrink([of(np.abs(chance.normal(truth, 0.9, 5))) for truth in truths])
        plain += sum((each.plain - truth) ** 2 for each, truth in zip(told.means, truths, strict=True))
        shrunken += sum((each.shrunken - truth) ** 2 for each, truth in zip(told.means, truths, strict=True))
    assert shrunken < most * plain


def test_two_levels_lie_nearer_to_the_truth_than_one():
    """400 programs of eight farms that differ, four blocks each: the farm's own mean is a better centre than all."""
    chance = np.random.default_rng(99)
    one = two = 0.0
    for _ in range(400):
        truths, groups = [], []
        for farm in range(8):
            for truth in chance.normal(chance.normal(5, 1.0), 0.3, 4):
                truths.append(truth)
                groups.append(of(chance.normal(truth, 0.9, 4), farm=farm))
        by_farm = shrink(groups)
        as_one = shrink([Group(each.n, each.mean, each.standard_deviation) for each in groups])
        for told, truth, other in zip(by_farm.means, truths, as_one.means, strict=True):
            two += (told.shrunken - truth) ** 2
            one += (other.shrunken - truth) ** 2
    assert two < 0.8 * one


@given(some_groups)
def test_the_weights_lie_between_0_and_1_and_add_up_to_1(groups):
    for each in shrink(groups).means:
        weights = (each.weight_of_plain, each.weight_of_farm, each.weight_of_program)
        assert all(-1e-12 <= weight <= 1 + 1e-12 for weight in weights)
        assert sum(weights) == pytest.approx(1)


@given(some_groups)
def test_a_shrunken_mean_is_what_its_weights_say(groups):
    told = shrink(groups)
    for group, each in zip(groups, told.means, strict=True):
        farm = (told.farm_means or {}).get(group.farm, 0.0)
        summed = each.weight_of_plain * each.plain + each.weight_of_farm * farm
        summed += each.weight_of_program * (told.program_mean or 0.0)
        assert each.shrunken == pytest.approx(summed, rel=1e-9, abs=1e-9)
        lowest, highest = (pick(one.mean for one in groups) for pick in (min, max))
        assert lowest - 1e-9 <= each.shrunken <= highest + 1e-9


@given(some_groups)
def test_no_variance_is_negative(groups):
    told = shrink(groups)
    assert all(each is None or each >= 0 for each in (told.within, told.between_groups, told.between_farms))


@given(st.lists(a_group, min_size=3, max_size=12), st.integers(2, 30))
def test_of_two_blocks_of_one_farm_the_one_of_more_vines_keeps_more_of_its_mean(groups, more):
    first = groups[0]
    larger = Group(first.n * more, first.mean, first.standard_deviation, None, first.farm)
    told = shrink([*groups, Group(first.n, first.mean, first.standard_deviation, None, first.farm), larger])
    assert told.means[-1].weight_of_plain >= told.means[-2].weight_of_plain - 1e-12


@given(some_groups, st.randoms())
def test_the_order_of_the_groups_changes_nothing(groups, shuffler):
    order = list(range(len(groups)))
    shuffler.shuffle(order)
    straight, shuffled = shrink(groups).means, shrink([groups[each] for each in order]).means
    assert [straight[each].shrunken for each in order] == pytest.approx([each.shrunken for each in shuffled], abs=1e-9)


@given(some_groups)
def test_pounds_and_kilograms_are_drawn_alike(groups):
    pound = 0.45359237
    in_pounds = [
        Group(each.n, each.mean / pound, (each.standard_deviation or 0) / pound, each.population, each.farm)
        for each in groups
    ]
    once, again = shrink(groups).means, shrink(in_pounds).means
    assert [each.shrunken for each in once] == pytest.approx([each.shrunken * pound for each in again], abs=1e-9)
    assert [each.weight_of_plain for each in once] == pytest.approx([each.weight_of_plain for each in again], abs=1e-6)


@given(st.lists(a_group, min_size=2, max_size=12))
def test_a_block_of_which_every_vine_was_weighed_keeps_its_mean(groups):
    told = shrink([Group(7, 1.23, 0.4, 7, 0), *groups])
    assert told.means[0].shrunken == pytest.approx(1.23)
    assert told.means[0].weight_of_plain == 1


def test_means_that_differ_by_chance_alone_become_one():
    told = shrink([Group(4, 1.0, 0.5), Group(9, 1.01, 0.5), Group(16, 0.99, 0.5)])
    assert told.between_groups == 0
    assert len({round(each.shrunken, 9) for each in told.means}) == 1
    assert told.means[0].shrunken == pytest.approx((4 * 1.0 + 9 * 1.01 + 16 * 0.99) / 29)


@pytest.mark.parametrize("groups", [[], [Group(5, 1.0, 0.3)], [Group(5, 1.0, 0.3), Group(5, 2.0, 0.3)]])
def test_fewer_than_three_groups_keep_the_plain_mean_with_the_reason(groups):
    told = shrink(groups)
    assert told.reasons == (TOO_FEW_GROUPS,)
    assert [each.shrunken for each in told.means] == [each.mean for each in groups]
    assert all(each.weight_of_plain == 1 for each in told.means)


def test_single_weights_cannot_tell_chance_from_difference():
    told = shrink([Group(1, mean, None) for mean in (1.0, 2.0, 3.0, 4.0)])
    assert told.reasons == (NO_SPREAD,)
    assert [each.shrunken for each in told.means] == [1.0, 2.0, 3.0, 4.0]


def test_two_farms_are_too_few_to_say_how_farms_differ():
    told = shrink([Group(5, 1.0 + number / 3, 0.4, None, number % 2) for number in range(6)])
    assert told.reasons == (TOO_FEW_FARMS,)
    assert set(told.farm_means or {}) == {0, 1}
    assert all(each.weight_of_program == 0 for each in told.means)


def test_farms_of_one_block_each_are_drawn_towards_the_mean_of_all():
    told = shrink([Group(5, 1.0 + number / 3, 0.4, None, number) for number in range(4)])
    assert told.reasons == (TOO_FEW_BLOCKS_A_FARM,)
    assert all(each.weight_of_farm == 0 for each in told.means)
    assert told.means[0].shrunken > 1.0


def test_two_farms_of_hardly_any_block_keep_the_plain_means():
    told = shrink([Group(5, 1.0, 0.4, None, 0), Group(5, 2.0, 0.4, None, 0), Group(5, 3.0, 0.4, None, 1)])
    assert told.reasons == (CANNOT_BE_TOLD,)
    assert [each.shrunken for each in told.means] == [1.0, 2.0, 3.0]


def test_nothing_is_drawn_and_nothing_warns_where_all_is_known_or_all_is_alike():
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        known: Shrinkage = shrink([Group(3, mean, 0.1, 3) for mean in (1.0, 2.0, 3.0)])
        alike = shrink([Group(3, 2.0, 0.0) for _ in range(4)])
    assert [each.shrunken for each in known.means] == [1.0, 2.0, 3.0]
    assert [each.shrunken for each in alike.means] == [2.0] * 4


@pytest.mark.parametrize(
    "wrong",
    [Group(0, 1.0, None), Group(5, -1.0, 0.3), Group(5, 1.0, -0.3), Group(5, math.nan, 0.3), Group(5, 1.0, math.nan), Group(5, math.inf, 0.3),
     Group(5, 1.0, 0.3, 4), Group(5, 2e6, 0.3)],
)  # fmt: skip
def test_what_no_block_can_have_is_refused(wrong):
    with pytest.raises(OutOfRange, match="must lie between"):
        shrink([wrong, Group(5, 1.0, 0.3), Group(5, 2.0, 0.3)])
