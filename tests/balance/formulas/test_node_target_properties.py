"""What holds for every weight and every formula, by property tests."""

from __future__ import annotations

import math
from decimal import Decimal

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from balance.formulas.errors import OutOfRange
from balance.formulas.targets.node_targets import NodeFormula, node_target, node_targets
from records.units import Quantity, to_canonical

POUND = Decimal("0.45359237")
formulas = st.builds(
    NodeFormula,
    first_nodes=st.integers(5, 100).map(Decimal),
    further_nodes=st.integers(1, 60).map(Decimal),
    unit_value=st.just(Decimal(1)),
    unit=st.just("[lb_av]"),
    unit_kg=st.sampled_from([POUND, Decimal("0.5"), Decimal(1)]),
)
weights = st.decimals(min_value=0, max_value=20, places=3)


@given(formula=formulas, weight=weights, more=st.decimals(min_value=0, max_value=5, places=3))
def test_more_wood_never_means_fewer_nodes(formula, weight, more):
    lighter, heavier = (node_target(each, formula).nodes for each in (weight, weight + more))
    assert lighter is None or (heavier is not None and heavier >= lighter)


@given(formula=formulas, units=st.decimals(min_value=1, max_value=20, places=2))
def test_it_is_linear_inside_and_across_units(formula, units):
    target = node_target(units * formula.unit_kg, formula)
    assert target.unrounded == pytest.approx(float(formula.first_nodes + formula.further_nodes * (units - 1)), abs=1e-6)


@given(formula=formulas, weight=weights)
def test_the_whole_number_is_the_nearest_and_a_half_goes_to_fewer(formula, weight):
    target = node_target(weight, formula)
    if target.unrounded is not None and target.nodes is not None:
        assert -0.5 <= target.nodes - target.unrounded < 0.5


@given(formula=formulas, many=st.lists(weights, min_size=1, max_size=30), seed=st.randoms())
def test_the_order_of_the_vines_changes_nothing(formula, many, seed):
    order = list(range(len(many)))
    seed.shuffle(order)
    straight = node_targets([float(weight) for weight in many], formula).nodes
    shuffled = node_targets([float(many[index]) for index in order], formula).nodes
    assert np.array_equal(straight[order], shuffled, equal_nan=True)


@given(formula=formulas, many=st.lists(st.none() | weights, min_size=1, max_size=30))
def test_one_vine_and_many_vines_are_one_computation(formula, many):
    together = node_targets([math.nan if weight is None else float(weight) for weight in many], formula)
    for index, weight in enumerate(many):
        alone = node_target(weight, formula)
        assert alone.status == together.status[index]
        assert alone.nodes == (None if math.isnan(together.nodes[index]) else together.nodes[index])


def test_pounds_and_kilograms_of_one_weight_give_one_advice_in_1000_random_cases():
    random = np.random.default_rng(2027)
    for _ in range(1000):
        pounds = Quantity(Decimal(str(round(random.uniform(0.1, 12), 2))), "[lb_av]")
        formula = NodeFormula(
            Decimal(int(random.integers(10, 70))), Decimal(int(random.integers(5, 25))), Decimal(1), "[lb_av]", POUND
        )
        kilograms = Quantity(to_canonical(pounds, "mass"), "kg")
        by_pounds, by_kilograms = (node_target(to_canonical(each, "mass"), formula) for each in (pounds, kilograms))
        assert by_pounds == by_kilograms


def test_a_half_typed_in_either_unit_rounds_the_same_way():
    """2.25 lb at 30+10 is 42.5: as pounds, and as its exact kilograms in binary floats."""
    formula = NodeFormula(Decimal(30), Decimal(10), Decimal(1), "[lb_av]", POUND)
    assert node_target(Decimal("2.25") * POUND, formula).nodes == 42
    assert node_target(1.0205828325, formula).nodes == 42


def test_exactly_one_unit_is_in_range_in_either_unit():
    formula = NodeFormula(Decimal(30), Decimal(10), Decimal(1), "[lb_av]", POUND)
    assert node_target(POUND, formula).nodes == node_target(0.45359237, formula).nodes == 30


@pytest.mark.parametrize("weight", [-0.1, 50.1, math.inf])
def test_a_weight_that_no_vine_has_is_refused_with_the_limits(weight):
    formula = NodeFormula(Decimal(30), Decimal(10), Decimal(1), "[lb_av]", POUND)
    with pytest.raises(OutOfRange, match="between 0 and 50"):
        node_targets([1.0, weight], formula)


def test_a_vine_that_was_not_weighed_is_not_a_vine_without_wood():
    formula = NodeFormula(Decimal(30), Decimal(10), Decimal(1), "[lb_av]", POUND)
    assert node_targets([math.nan, 0.0], formula).status.tolist() == ["not_weighed", "below_formula_range"]
