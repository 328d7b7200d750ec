"""The steps of a target can be followed with a pencil."""

from __future__ import annotations

from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from balance.formulas.targets.explanation import SentWeight, explain
from balance.formulas.targets.node_targets import NodeFormula, node_target

POUND = Decimal("0.45359237")
PER_POUND = NodeFormula(Decimal(30), Decimal(10), Decimal(1), "[lb_av]", POUND)


def sent(value: str, unit: str, kg: Decimal) -> SentWeight:
    return SentWeight(Decimal(value), unit, kg)


def steps(
    weight: SentWeight, formula: NodeFormula = PER_POUND, scale: SentWeight | None = None
) -> list[tuple[str, str]]:
    return [
        (step.sentence, step.calculation) for step in explain(node_target(weight.kg, formula), formula, weight, scale)
    ]


def test_pounds_by_a_formula_in_pounds():
    scale = sent("0.25", "[lb_av]", POUND / 4)
    assert steps(sent("2.8", "[lb_av]", POUND * Decimal("2.8")), scale=scale) == [
        ("The first 1 lb gives 30 nodes.", "30"),
        ("The further 1.8 lb give 10 nodes for each 1 lb.", "1.8 × 10 = 18"),
        ("Together 48 nodes.", "30 + 18 = 48"),
        ("The scale's ±0.25 lb is worth ±2.5 nodes, so ±3.", "0.25 × 10 = 2.5"),
    ]


def test_kilograms_by_a_formula_in_pounds_convert_the_weight_and_never_the_formula():
    first, *rest = steps(sent("1.27", "kg", Decimal("1.27")))
    assert first == (
        "1.27 kg is 2.7999 lb: the formula counts in units of 1 lb.",
        "1.27 kg ÷ 0.45359237 kg = 2.799871",
    )
    assert rest[-1] == ("Rounded to the nearest whole node, a half towards fewer: 48.", "47.99871 → 48")


@given(
    grams=st.integers(1, 50_000),
    unit=st.sampled_from([("g", Decimal("0.001")), ("kg", Decimal(1)), ("[oz_av]", POUND / 16), ("[lb_av]", POUND)]),
    further=st.integers(1, 60),
)
def test_every_sum_that_is_written_comes_out_with_a_pencil(grams, unit, further):
    """To a millionth, which is what the formula works with."""
    formula = NodeFormula(Decimal(30), Decimal(further), Decimal(1), "[lb_av]", POUND)
    code, factor = unit
    value = Decimal(grams) / 1000
    for _, calculation in steps(SentWeight(value, code, value * factor), formula):
        left, _, right = calculation.replace(" kg", "").partition(" = ")
        if right:
            worked = eval(left.replace("×", "*").replace("÷", "/"))
            assert worked == pytest.approx(float(right), abs=2e-6), calculation


@pytest.mark.parametrize(
    ("pounds", "told"),
    [
        (1, ("There is no further weight.", "0 × 10 = 0")),
        (2, ("The further 1 lb gives 10 nodes for each 1 lb.", "1 × 10 = 10")),
    ],
)
def test_the_further_weight_is_told_also_where_it_is_none_or_one(pounds, told):
    assert steps(sent(str(pounds), "[lb_av]", POUND * pounds))[1] == told


def test_a_floor_that_equals_the_cap_is_told_as_a_floor():
    formula = NodeFormula(Decimal(30), Decimal(10), Decimal(1), "[lb_av]", POUND, minimum_nodes=50, maximum_nodes=50)
    sentence, calculation = steps(sent("2", "[lb_av]", POUND * 2), formula)[-1]
    assert (calculation, "at least 50" in sentence) == ("40 → 50", True)


def test_a_formula_of_500_g_counts_in_500_g():
    formula = NodeFormula(Decimal(33), Decimal(11), Decimal(500), "g", Decimal("0.5"))
    assert [calculation for _, calculation in steps(sent("1250", "g", Decimal("1.25")), formula)] == [
        "1.25 kg ÷ 0.5 kg = 2.5", "33", "1.5 × 11 = 16.5", "33 + 16.5 = 49.5", "49.5 → 49",
    ]  # fmt: skip


def test_a_cap_is_shown_with_what_it_would_have_been():
    formula = NodeFormula(Decimal(30), Decimal(10), Decimal(1), "[lb_av]", POUND, maximum_nodes=50)
    sentence, calculation = steps(sent("4", "[lb_av]", POUND * 4), formula)[-1]
    assert (calculation, "at most 50" in sentence, "60" in sentence) == ("60 → 50", True, True)


def test_without_a_number_there_are_no_steps():
    assert steps(sent("0.5", "[lb_av]", POUND / 2)) == []
