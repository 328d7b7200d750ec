"""Node targets against published worked examples; the source stands beside each number.

READ: the figure was read in the source. READ*: in a source of low authority. COMPUTED: arithmetic on read inputs.
"""

from __future__ import annotations

from decimal import Decimal
from typing import Any

import pytest

from balance.formulas.targets.node_targets import FIXED, PER_UNIT, NodeFormula, node_target, nodes_worth_of
from balance.formulas.targets.retained_counts import arithmetic_slips

POUND = Decimal("0.45359237")


def per_pound(first: int, further: int, **more: Any) -> NodeFormula:
    return NodeFormula(Decimal(first), Decimal(further), Decimal(1), "[lb_av]", POUND, **more)


def per_500_g(first: int, further: int) -> NodeFormula:
    return NodeFormula(Decimal(first), Decimal(further), Decimal(500), "g", Decimal("0.5"))


PUBLISHED = [
    ("Univ. Illinois Ext., Pruning and training grape vines (READ)", per_pound(30, 10), "1", 30),
    (
        "Univ. Illinois Ext., same page; West Virginia Dept. Agric., Growing grapes in WV, p. 14 (READ)",
        per_pound(30, 10),
        "3",
        50,
    ),
    (
        "Missouri State Univ. Fruit Expt. Station, field blog, 20 Nov 2009: printed 'about 45' (READ)",
        per_pound(30, 10),
        "2.55",
        45,
    ),
    (
        "Missouri State Univ. Fruit Expt. Station, 8 Nov 2012: 'a little more than 1 lb' (READ)",
        per_pound(30, 10),
        "1.04",
        30,
    ),
    ("Finger Lakes wines and grapes column, 26 Mar 2021 (READ*)", per_pound(20, 20), "1.5", 30),
    ("cooksplace.us, 2013 (READ*)", per_pound(20, 20), "2", 40),
    ("gardenguides.com/100670: 40 in all, renewal spurs inside (READ*)", per_pound(30, 10), "2", 40),
    ("98905.com garden page (READ*)", per_pound(30, 10), "4", 60),
    ("common practice, no source", per_pound(30, 10), "2.5", 45),
    ("common practice, no source", per_pound(30, 10), "2.8", 48),
]


@pytest.mark.parametrize(("source", "formula", "pounds", "nodes"), PUBLISHED)
def test_a_published_example_in_pounds_comes_out_as_printed(source, formula, pounds, nodes):
    assert node_target(Decimal(pounds) * POUND, formula).nodes == nodes, source


@pytest.mark.parametrize(
    ("formula", "nodes"),
    [(per_500_g(33, 11), 44), (per_500_g(66, 11), 77), (per_pound(30, 10), 42)],
)
def test_1000_g_by_formulas_of_two_units_is_not_the_same_advice(formula, nodes):
    """Formulas: Bates 2021, Am. J. Enol. Vitic. 72(1):1 (READ); values COMPUTED. A and B are never converted."""
    assert node_target(Decimal(1), formula).nodes == nodes


def test_the_raw_value_behind_about_45_is_shown():
    """Missouri State 2009: 30 + 10 x 1.55 = 45.5, printed as about 45 (READ)."""
    assert node_target(Decimal("2.55") * POUND, per_pound(30, 10)).unrounded == 45.5


def by_the_unit(nodes: int, unit: str, unit_kg: Decimal) -> NodeFormula:
    return NodeFormula(Decimal(0), Decimal(nodes), Decimal(1), unit, unit_kg, kind=PER_UNIT)


@pytest.mark.parametrize(("pounds", "low", "high"), [("2", 30, 40)])
def test_chambourcin_at_15_to_20_nodes_per_pound(pounds, low, high):
    """Kurtural, Dami, Taylor 2006, HortTechnology 16(2):233-240 (rule READ, value COMPUTED)."""
    weight = Decimal(pounds) * POUND
    assert [node_target(weight, by_the_unit(each, "[lb_av]", POUND)).nodes for each in (15, 20)] == [low, high]


@pytest.mark.parametrize(("per_kg", "per_pound_printed"), [(9, 4.1), (15, 6.8), (22, 10.0)])
def test_thompson_seedless_by_the_kilogram_is_what_is_printed_by_the_pound(per_kg, per_pound_printed):
    """Lider, Kasimatis, Kliewer 1975, Am. J. Enol. Vitic. 26:175-178 (READ): 9, 15, 22 per kg; 4.1, 6.8, 10.0 per lb."""
    worth, _ = nodes_worth_of(POUND, by_the_unit(per_kg, "kg", Decimal(1)))
    assert round(worth, 1) == per_pound_printed


def test_a_fixed_number_asks_for_no_weight():
    """Cornell Lake Erie laboratory, note on Concord pruning (READ): fixed 100 and fixed 120."""
    fixed = NodeFormula(Decimal(120), Decimal(0), Decimal(1), "[lb_av]", POUND, kind=FIXED)
    assert [node_target(weight, fixed).nodes for weight in (None, Decimal("0.2"), Decimal(4))] == [120, 120, 120]


@pytest.mark.parametrize(
    ("pounds", "status"), [("1.4", "below_formula_range"), ("2.5", "ok"), ("2.6", "above_formula_range")]
)
def test_fixed_100_suits_vines_of_1_5_to_2_5_pounds(pounds, status):
    """Cornell Lake Erie laboratory, note on Concord pruning (READ)."""
    fixed = NodeFormula(
        Decimal(100), Decimal(0), Decimal(1), "[lb_av]", POUND, kind=FIXED, lowest_units=1.5, highest_units=2.5
    )
    assert node_target(Decimal(pounds) * POUND, fixed).status == status


def test_competing_formulas_for_concord_differ_as_printed():
    """trade.md section 13, row 4: 30+10 (Illinois), 50+10 (Arkansas 1984), 60+10 (Lake Erie) at 3 lb; values COMPUTED."""
    weight = 3 * POUND
    assert [node_target(weight, per_pound(first, 10)).nodes for first in (30, 50, 60)] == [50, 70, 80]


def test_below_one_pound_no_source_prints_a_formula_so_there_is_no_number():
    """trade.md section 13, row 1: absence READ in every retrieved text."""
    target = node_target(Decimal("0.99") * POUND, per_pound(30, 10))
    assert (target.nodes, target.unrounded, target.status) == (None, None, "below_formula_range")


def test_a_printed_maximum_caps_and_the_uncapped_number_stays():
    """St. Croix, 30+10 with a maximum of 50: houseofvines.blogspot.com 2016 (READ*)."""
    target = node_target(Decimal(4) * POUND, per_pound(30, 10, maximum_nodes=50))
    assert (target.nodes, target.uncapped) == (50, 60)


def test_a_quarter_of_a_pound_is_worth_two_and_a_half_nodes_at_plus_10():
    """Common practice, no source."""
    assert nodes_worth_of(POUND / 4, per_pound(30, 10)) == (2.5, 3)


def test_leaving_out_the_first_ten_turns_48_into_38():
    """Common practice, no source: the slip that the service was asked to name."""
    assert [slip.code for slip in arithmetic_slips(38, 2.8, per_pound(30, 10))] == ["one_further_unit_left_out"]
