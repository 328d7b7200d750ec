"""Yield, thinning and spacing against published figures; the source stands beside each number.

READ: the figure was read in the source. READ*: in a source of low authority. COMPUTED: arithmetic on read inputs.
"""

from __future__ import annotations

import pytest

from balance.formulas.yields.estimates import exact, share_of
from balance.formulas.yields.lag_phase import DEFAULT_FACTOR, default_factor, own_factor
from balance.formulas.yields.planting_density import ACRE_M2, planting_density, row_length_on, whole_vines
from balance.formulas.yields.shoot_thinning import clusters_by_shoot_length
from balance.formulas.yields.thinning import thin, yield_by_crop_load
from balance.formulas.yields.yield_estimates import bearing_vines, estimate_yield
from balance.yields.cluster_weight_ways import SeasonWeights, YieldQuestion, yields_of
from balance.yields.cluster_weights import cluster_weights
from balance.yields.thinning_rules import thinning_rule, thinning_rules

POUND, FOOT, INCH = 0.45359237, 0.3048, 0.0254
SHORT_TON = 2000 * POUND


@pytest.mark.parametrize(
    ("source", "vine", "row", "printed"),
    [("Dami, OSU/OARDC, How to estimate grape yields (READ)", 6, 9, 807),
     ("wine-grape-growing.com, chapter 30 (READ)", 8, 9, 605),
     ("apicaltexas.com, 2020 (READ*)", 4, 8, 1361)],
)  # fmt: skip
def test_vines_an_acre_come_out_as_printed(source, vine, row, printed):
    """Check value 21: 43,560 ÷ (vine × row spacing), rounded."""
    assert whole_vines(planting_density(vine * FOOT, row * FOOT).per_acre) == printed, source


def test_a_yield_from_vines_clusters_and_weight():
    """Check value 22: PY = ANV × NC × CW ÷ 2000 in short tons an acre.

    Dami, OSU/OARDC: formula, 807 and 5 % READ; 767, 40 and 0.24 from memory; 3.68 and 8.25 t/ha COMPUTED.
    """
    estimate = estimate_yield(exact(767), exact(40), exact(0.24 * POUND), area_m2=ACRE_M2)
    assert estimate.total.value / SHORT_TON == pytest.approx(3.68, abs=0.005)
    assert estimate.per_hectare is not None
    assert estimate.per_hectare.value == pytest.approx(8.25, abs=0.005)


def test_767_are_the_807_less_five_per_cent_missing():
    """Dami, OSU/OARDC: 807 and 5 % READ."""
    assert round(bearing_vines(807, share_of(5, 100)).value) == 767


@pytest.mark.parametrize(("budbreak", "pounds"), [(1.0, 12), (0.8, 9.6)])
def test_a_yield_from_the_buds_that_were_left(budbreak, pounds):
    """Check value 23: 24 buds × 2 clusters × 0.25 lb = 12 lb; × 0.8 budbreak = 9.6 (the page prints 9).

    amigonivinifera.blogspot.com, March 2009 (READ*).
    """
    estimate = estimate_yield(exact(1), exact(24 * 2 * budbreak), exact(0.25 * POUND))
    assert estimate.per_vine.value / POUND == pytest.approx(pounds)


def test_row_length_of_a_hundredth_of_an_acre():
    """Check value 24, contradiction 16: 435.6 ÷ row spacing; 58.1 ft at 7.5 ft rows is printed (READ)."""
    assert round(row_length_on(ACRE_M2 / 100, 7.5 * FOOT) / FOOT, 1) == 58.1


def test_the_printed_45_9_feet_at_rows_of_10_feet_is_an_error():
    """lergp.com, Using the Concord estimation chart, prints 45.9 ft at 10 ft rows (READ).

    It is the length at 9.5 ft rows, and 10 ft rows have 43.56 ft (COMPUTED).
    """
    feet = {rows: row_length_on(ACRE_M2 / 100, rows * FOOT) / FOOT for rows in (9.5, 10)}
    assert feet[10] == pytest.approx(43.56)
    assert feet[9.5] == pytest.approx(45.9, abs=0.05)


RULES_BY_LENGTH = ("grower-8-15-in", "high-tunnel-8-20-in")


@pytest.mark.parametrize("code", RULES_BY_LENGTH)
def test_shoots_of_6_12_and_24_inches_keep_none_one_and_two(code):
    """Check value 25: common practice; a grower column quoting Ohio practice (READ*), and both rules agree on it."""
    rule = thinning_rule(code)
    assert rule is not None
    lengths = [6 * INCH, 12 * INCH, 24 * INCH]
    assert clusters_by_shoot_length(lengths, rule.rule()).tolist() == [0, 1, 2]
    centimetres = [0.15, 0.30, 0.61]  # as printed beside the inches
    assert clusters_by_shoot_length(centimetres, rule.rule()).tolist() == [0, 1, 2]


@pytest.mark.parametrize(
    ("code", "at_8", "at_15", "at_18", "at_20"), [(RULES_BY_LENGTH[0], 0, 1, 2, 2), (RULES_BY_LENGTH[1], 1, 1, 1, 1)]
)
def test_the_upper_step_is_15_inches_by_one_rule_and_20_by_the_other(code, at_8, at_15, at_18, at_20):
    """Contradiction 17: edpeaco.blogspot.com, 27 June 2012 (READ*), against NCAT, attra.ncat.org (READ).

    They differ at exactly 8 in as well.
    """
    rule = thinning_rule(code)
    assert rule is not None
    kept = clusters_by_shoot_length([each * INCH for each in (8, 15, 18, 20)], rule.rule()).tolist()
    assert kept == [at_8, at_15, at_18, at_20]


def test_no_thinning_rule_is_a_default():
    """Contradiction 17: one set of rules a growing system; whoever asks names one."""
    assert thinning_rule("") is None
    assert len({rule.growing_system for rule in thinning_rules() if rule.code in RULES_BY_LENGTH}) == 2


def test_printed_weights_of_one_cultivar_differ_by_a_factor_of_five():
    """Contradiction 18: Villard blanc 58 g in Mississippi and 287.1 g in Alabama (READ)."""
    rows = cluster_weights("villard-blanc")
    low, high = min(row.low_g for row in rows), max(row.high_g for row in rows)
    assert (low, high) == (58, 287.1)
    assert high / low == pytest.approx(4.95)


VILLARD = YieldQuestion(places=100, missing=None, clusters=exact(40), cultivar="villard-blanc")


def test_without_a_record_the_catalogue_gives_two_ends_and_no_number():
    """Contradiction 18: 100 vines × 40 clusters at 58 g and at 287.1 g (weights READ, yields COMPUTED)."""
    answer = yields_of(VILLARD)
    assert [way.estimate for way in answer.ways] == [None] * 4
    assert answer.printed_ends is not None
    low, high = answer.printed_ends
    assert [low.total.value, high.total.value] == pytest.approx([232, 1148.4])


@pytest.mark.parametrize(
    "records",
    [{"lag_phase": exact(0.09)}, {"this_season": exact(0.18)}, {"seasons": (SeasonWeights(2026, 0.17, None),)}],
)
def test_with_any_record_of_its_own_no_printed_weight_predicts_and_the_spread_is_shown(records):
    """Contradiction 18: never predict with catalogue weights where the block has records."""
    answer = yields_of(YieldQuestion(**{**vars(VILLARD), **records}))
    assert answer.printed_ends is None
    assert len(answer.printed) == 3
    assert any(way.estimate for way in answer.ways)


def test_the_default_factor_is_2():
    """Contradiction 20: Oregon work of the early 1990s, reported by Good Fruit Grower (READ): about 50 % of final."""
    assert default_factor().value == DEFAULT_FACTOR == 1 / 0.5


def test_the_blocks_own_factor_and_the_default_stand_side_by_side():
    """Contradiction 20: keep a factor a block, default 2, show both. Weights invented, values COMPUTED."""
    seasons = (SeasonWeights(2025, 0.120, 0.050), SeasonWeights(2026, 0.110, 0.050))
    answer = yields_of(YieldQuestion(**{**vars(VILLARD), "lag_phase": exact(0.06), "seasons": seasons}))
    weights = {way.method.code: way.estimate.weight.value for way in answer.ways if way.estimate}
    assert weights["lag_phase_default_factor"] == pytest.approx(0.120)
    assert weights["lag_phase_own_factor"] == pytest.approx(0.06 * 2.3)


def test_without_an_own_factor_the_default_stands_and_the_reason_beside_it():
    answer = yields_of(YieldQuestion(**{**vars(VILLARD), "lag_phase": exact(0.06)}))
    by_code = {way.method.code: way for way in answer.ways}
    assert by_code["lag_phase_default_factor"].estimate is not None
    assert by_code["lag_phase_own_factor"].estimate is None
    assert "no factor of its own" in (by_code["lag_phase_own_factor"].reason or "")


def test_an_own_factor_has_its_seasons_and_their_spread():
    """Weights invented, values COMPUTED: ratios 2.4, 2.2 and 2.0 have mean 2.2 and standard deviation 0.2."""
    own = own_factor([0.120, 0.110, 0.100], [0.05, 0.05, 0.05])
    assert own is not None
    assert (own.factors, own.estimate.n) == ((2.4, 2.2, 2.0), 3)
    assert own.estimate.value == pytest.approx(2.2)
    assert own.standard_deviation == pytest.approx(0.2)


def test_two_pounds_of_prunings_at_a_ratio_of_10_carry_20_pounds():
    """Check value 14: Purdue Univ., Facts for Fancy Fruit (READ)."""
    assert yield_by_crop_load([2 * POUND], 10)[0] / POUND == pytest.approx(20)


def test_20_pounds_of_half_pound_clusters_are_40_clusters():
    """The same vine; half a pound is invented, 40 COMPUTED."""
    assert thin([55], yield_by_crop_load([2 * POUND], 10), 0.5 * POUND).leave.tolist() == [40]
