"""The count held against the target, and the slips that explain a miss."""

from __future__ import annotations

import math
from decimal import Decimal

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from balance.formulas.targets.node_targets import NodeFormula
from balance.formulas.targets.retained_counts import arithmetic_slips, judge_count, judge_counts, tolerance_of

PER_POUND = NodeFormula(Decimal(30), Decimal(10), Decimal(1), "[lb_av]", Decimal("0.45359237"))


@pytest.mark.parametrize(
    ("retained", "outcome", "difference"),
    [
        (48, "within_tolerance", 0),
        (45, "within_tolerance", -3),
        (51, "within_tolerance", 3),
        (44, "too_few", -4),
        (52, "too_many", 4),
    ],
)
def test_a_count_is_on_target_within_what_the_scale_is_worth(retained, outcome, difference):
    verdict = judge_count(retained, 48, tolerance=3)
    assert (verdict.outcome, verdict.difference) == (outcome, difference)


def test_the_tolerance_is_at_least_one_node():
    assert [tolerance_of(worth) for worth in (None, 0, 1, 3)] == [1, 1, 1, 3]


@pytest.mark.parametrize(
    ("retained", "code"),
    [
        (38, "one_further_unit_left_out"),
        (58, "first_unit_counted_twice"),
        (40, "only_whole_units"),
        (30, "only_the_first_unit"),
        (18, "first_nodes_left_out"),
        (82, "pounds_read_as_kilograms"),
        (33, "kilograms_read_as_pounds"),
    ],
)
def test_each_plain_slip_at_2_8_lb_is_named_by_the_count_it_gives(retained, code):
    assert code in [slip.code for slip in arithmetic_slips(retained, 2.8, PER_POUND)]


@pytest.mark.parametrize(
    ("retained", "kilograms", "code"),
    [
        (71, 1.0, "pounds_read_as_kilograms"),  # 2.2046 lb as 2.2046 kg: 33 + 11 x (4.4092 - 1) = 70.5
        (37, 1.5, "kilograms_read_as_pounds"),  # 1.5 kg as 1.5 lb = 0.6804 kg: 33 + 11 x (1.3608 - 1) = 36.97
    ],
)
def test_pounds_and_kilograms_are_mixed_up_by_a_formula_of_500_g_too(retained, kilograms, code):
    formula = NodeFormula(Decimal(33), Decimal(11), Decimal(500), "g", Decimal("0.5"))
    assert code in [slip.code for slip in arithmetic_slips(retained, kilograms / 0.5, formula)]


@pytest.mark.parametrize("retained", [48, 44, 53, 100])
def test_a_count_that_no_slip_gives_is_only_a_miss(retained):
    assert arithmetic_slips(retained, 2.8, PER_POUND) == ()


def test_a_slip_that_ends_on_a_half_is_known_by_either_whole_number():
    """2.85 lb: 30 + 0.85 x 10 = 38.5."""
    for retained in (38, 39):
        assert "one_further_unit_left_out" in [slip.code for slip in arithmetic_slips(retained, 2.85, PER_POUND)]


def test_no_further_unit_can_be_left_out_below_two_units():
    assert "one_further_unit_left_out" not in [slip.code for slip in arithmetic_slips(28, 1.8, PER_POUND)]


@given(
    st.lists(
        st.tuples(st.none() | st.integers(0, 200), st.none() | st.integers(1, 200), st.none() | st.floats(0, 20)),
        min_size=1, max_size=20,
    )
)  # fmt: skip
def test_one_count_and_many_counts_are_judged_by_one_rule(rows):
    columns = [[math.nan if value is None else value for value in column] for column in zip(*rows, strict=True)]
    difference, tolerance, outcome = judge_counts(*columns)
    for index, (retained, nodes, worth) in enumerate(rows):
        if retained is None or nodes is None:
            assert (outcome[index], np.isnan(difference[index])) == ("", True)
            continue
        alone = judge_count(retained, nodes, tolerance=tolerance_of(None if worth is None else math.ceil(worth)))
        assert (alone.outcome, alone.difference, alone.tolerance) == (
            outcome[index],
            difference[index],
            tolerance[index],
        )
