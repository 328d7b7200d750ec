"""Sample sizes, draws and shrinkage against printed figures, open data and figures computed from it.

READ: the figure was read in the source. COMPUTED: arithmetic on read inputs. From memory: recalled, not seen again.
"""

from __future__ import annotations

import csv
import math
from pathlib import Path

import numpy as np
import pytest
from scipy import stats
from statsmodels.stats.proportion import samplesize_confint_proportion

from balance.formulas.methods import MARKS
from balance.formulas.samples.sample_draw import systematic
from balance.formulas.samples.sample_estimate import estimate_mean
from balance.formulas.samples.sample_size import DEFAULT_VARIATION, METHOD, NORMAL, expected_error, vines_needed
from balance.formulas.samples.shrinkage import Group, shrink
from balance.formulas.statistics import summarise

DATA = Path(__file__).resolve().parents[3] / "shared" / "data" / "coombe2019.csv"


def coombe() -> list[dict[str, str]]:
    if not DATA.exists():
        pytest.skip("the open data lies beside the project, in ../shared/data, and is not there")
    with DATA.open(newline="") as file:
        return list(csv.DictReader(file))


def weighed() -> np.ndarray:
    """The 349 weights in the order of the file, which is row by row."""
    return np.array([float(row["pruning_weight"]) for row in coombe() if row["pruning_weight"]])


#: Vines for ±5, ±10, ±15 and ±20 % at 95 %, z = 1.96, before finite correction (trade.md section 6, COMPUTED).
BY_NORMAL = {20: (62, 16, 7, 4), 30: (139, 35, 16, 9), 35: (189, 48, 21, 12), 43.5: (291, 73, 33, 19)}


@pytest.mark.parametrize("variation", BY_NORMAL)
def test_the_table_by_the_normal_distribution_is_reproduced(variation):
    ours = tuple(vines_needed(error, 95, variation, None, NORMAL).vines for error in (5, 10, 15, 20))
    assert ours == BY_NORMAL[variation]


@pytest.mark.parametrize("variation", BY_NORMAL)
def test_answers_take_students_t_and_so_a_vine_or_more_beyond_the_table(variation):
    ours = [vines_needed(error, 95, variation).vines for error in (5, 10, 15, 20)]
    assert all(mine >= printed + 1 for mine, printed in zip(ours, BY_NORMAL[variation], strict=True))


def test_260_of_800_vines_is_the_formula_for_proportions_and_not_our_answer():
    """WSU Topic of the Month, July 2006: 800 vines an acre at 5 % "error" -> 260 vines (READ; section 13, row 15)."""
    without_correction = float(samplesize_confint_proportion(0.5, 0.05, alpha=0.05))
    assert round(without_correction, 1) == 384.1
    assert math.ceil(without_correction / (1 + (without_correction - 1) / 800)) == 260
    answers = {variation: vines_needed(5, 95, variation, 800).vines for variation in (20, 34.5, 35, 43.5)}
    assert answers == {20: 60, 34.5: 151, 35: 155, 43.5: 216}


def test_a_sample_size_knows_how_unlike_the_vines_are_which_the_formula_for_proportions_does_not():
    even, uneven = (vines_needed(5, 95, variation, 800).vines for variation in (5, 60))
    assert (even < 10, uneven > 260) == (True, True)


def test_cv_based_16_to_73_vines_stay_so_by_t_within_three():
    """Section 13, row 15: 16 to 73 vines for ±10 % at CV 20 to 43.5 % (COMPUTED by z); by t 18 to 76."""
    assert [vines_needed(10, 95, variation).vines for variation in (20, 43.5)] == [18, 76]


def test_69_vines_of_concord_reach_the_printed_precision():
    """Taylor & Bates 2012, AJEV 63:559-563 (READ): 23 samples of 3 vines, ±0.046 kg/m at 90 %.

    Each mean of three neighbours is one draw, so ±0.046 at t of 22 degrees of freedom is a standard deviation of
    0.128 kg/m between draws (COMPUTED); per kg/m of mean, 23 draws are just what ±4.6 % takes.
    """
    deviation = 0.046 / float(stats.t.ppf(0.95, 22)) * math.sqrt(23)
    assert round(deviation, 3) == 0.128
    assert vines_needed(4.6, 90, 100 * deviation).vines == 23


def test_the_default_of_35_percent_is_the_spread_of_single_vines_in_open_data():
    """coombe2019 (InPlotSampling, MIT): n 349, mean 2.681, sd 0.926 kg, CV 34.5 %."""
    summary = summarise(weighed())
    assert (summary.n, round(summary.mean or 0, 3), round(summary.standard_deviation or 0, 3)) == (349, 2.681, 0.926)
    assert round(summary.coefficient_of_variation or 0, 1) == 34.5
    assert abs(DEFAULT_VARIATION - 34.5) <= 0.5


def test_means_of_two_neighbours_vary_by_27_9_percent():
    """coombe2019: 173 panels of two weighed vines, CV 27.9 % (COMPUTED)."""
    panels: dict[tuple[str, str], list[str]] = {}
    for row in coombe():
        panels.setdefault((row["row"], row["panel"]), []).append(row["pruning_weight"])
    means = [sum(map(float, pair)) / 2 for pair in panels.values() if len(pair) == 2 and all(pair)]
    assert len(means) == 173
    assert round(summarise(means).coefficient_of_variation or 0, 1) == 27.9


def test_strickland_1930_varies_by_43_5_percent():
    """agridat, strickland.grape.uniformity (from memory: n 125, mean 5.944, sd 2.585 lb): CV 43.5 %."""
    assert round(100 * 2.585 / 5.944, 1) == 43.5
    assert vines_needed(10, 95, 100 * 2.585 / 5.944, 125).vines == 48


@pytest.mark.parametrize(("every", "n", "ours", "at_random"), [(5, 69, 3.4, 3.7), (10, 34, 4.8, 5.6), (15, 23, 7.0, 7.0), (20, 17, 6.1, 8.2)])  # fmt: skip
def test_every_kth_vine_against_random_vines(every, n, ours, at_random):
    """coombe2019 (COMPUTED): root mean square error of the mean [%], over all starts, and of vines at random."""
    weights = weighed()
    mean = weights.mean()
    errors = [weights[start::every].mean() / mean - 1 for start in range(every)]
    assert round(100 * math.sqrt(np.mean(np.square(errors))), 1) == ours
    variation = summarise(weights).coefficient_of_variation or 0
    assert n == len(weights) // every
    # one standard error, the finite correction taken in: t aside, what the interval is made of
    assert round(expected_error(n, 95, variation, len(weights), NORMAL) / 1.959964, 1) == at_random


def test_a_draw_by_a_fractional_interval_does_as_well_as_every_kth_vine():
    """coombe2019: over 400 seeds, 34 vines drawn by our own draw err by no more than vines at random would (5.6 %)."""
    weights = weighed()
    errors = [weights[systematic(349, 34, seed)].mean() / weights.mean() - 1 for seed in range(400)]
    assert 3.0 < 100 * math.sqrt(np.mean(np.square(errors))) < 5.6


def test_the_interval_of_systematic_samples_of_open_data_holds_the_mean_as_often_as_it_says():
    """coombe2019: 95 % intervals of 34 vines by our own draw hold the mean of all in at least 95 of 100 draws."""
    weights = weighed()
    held = 0
    for seed in range(400):
        told = estimate_mean(weights[systematic(349, 34, seed)], 95, 349)
        assert told.low is not None and told.high is not None
        held += told.low <= weights.mean() <= told.high
    assert held / 400 >= 0.95


#: Batting averages after 45 at bats and of the rest of the season: Efron & Morris 1975 (from memory).
AFTER_45 = (.400, .378, .356, .333, .311, .311, .289, .267, .244, .244, .222, .222, .222, .222, .222, .200, .178, .156)  # fmt: skip
SEASON = (.346, .298, .276, .222, .273, .270, .263, .210, .269, .230, .264, .256, .303, .264, .226, .286, .316, .200)  # fmt: skip


def test_the_best_known_shrunken_means_come_out_as_printed():
    """Efron & Morris 1975, J. Am. Stat. Assoc. 70:311-319, 18 players (from memory): mean .265, factor .212.

    Theirs multiplies the share put down to chance by (k − 3)/(k − 1) for the variance being estimated; ours does not.
    """
    mean = float(np.mean(AFTER_45))
    deviation = math.sqrt(mean * (1 - mean))
    told = shrink([Group(45, each, deviation) for each in AFTER_45])
    assert round(mean, 3) == 0.265
    assert told.farm_means is not None and round(told.farm_means[0], 3) == 0.265
    chance = 1 - told.means[0].weight_of_plain
    assert round(1 - chance * 15 / 17, 3) == 0.212


def test_the_best_known_shrunken_means_lie_nearer_to_the_truth():
    """Same: total squared error .077 of the plain averages against .022 of James & Stein's (from memory)."""
    mean = float(np.mean(AFTER_45))
    told = shrink([Group(45, each, math.sqrt(mean * (1 - mean))) for each in AFTER_45])
    plain = sum((one - truth) ** 2 for one, truth in zip(AFTER_45, SEASON, strict=True))
    shrunken = sum((one.shrunken - truth) ** 2 for one, truth in zip(told.means, SEASON, strict=True))
    assert round(plain, 3) in (0.075, 0.076, 0.077)
    assert shrunken < 0.3 * plain


def test_rootstocks_of_open_data_drawn_by_six_vines_each_are_told_better_together():
    """coombe2019: eight rootstocks, six vines of each by 200 seeds: shrunken means err less in total than plain ones."""
    by_rootstock: dict[str, list[float]] = {}
    for row in coombe():
        if row["pruning_weight"]:
            by_rootstock.setdefault(row["rootstock"], []).append(float(row["pruning_weight"]))
    assert len(by_rootstock) == 8
    plain = shrunken = 0.0
    for seed in range(200):
        groups: list[Group] = []
        truths: list[float] = []
        for name in sorted(by_rootstock):
            weights = np.array(by_rootstock[name])
            drawn = np.random.default_rng([seed, len(truths)]).choice(weights, 6, replace=False)
            groups.append(Group(6, float(drawn.mean()), float(drawn.std(ddof=1)), len(weights)))
            truths.append(float(weights.mean()))
        for mean, truth in zip(shrink(groups).means, truths, strict=True):
            plain += (mean.plain - truth) ** 2
            shrunken += (mean.shrunken - truth) ** 2
    assert shrunken < 0.95 * plain


def test_every_method_says_how_well_its_source_is_known():
    assert METHOD.mark in MARKS
    assert "READ" in METHOD.note
