"""What holds of every release, whatever the farms: rules kept, closed under subtraction, blind to the order of farms."""

from __future__ import annotations

import random
from itertools import combinations, product

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from balance.formulas.privacy.cells import release_cells
from balance.formulas.privacy.hierarchy import Contribution, single_margins
from balance.formulas.privacy.row_space import NotProven, can_be_had, fewest_behind
from balance.formulas.privacy.rules import PrivacyRules, why_withheld
from tests.balance.formulas.privacy.worlds import fewest_by_trying

PLAIN = single_margins({"region": ("a", "b", "c"), "training": ("x", "y")})
LABELS = st.tuples(st.sampled_from(["a", "b", "c", None]), st.sampled_from(["x", "y", None]))
VALUES = st.one_of(st.just(0.0), st.floats(0.01, 100))
PARTS = st.builds(Contribution, st.integers(0, 25).map("farm {:02d}".format), VALUES, st.floats(0.1, 100), LABELS)
FARMS = st.lists(PARTS, max_size=60)
#: Nearly alike, so that most cells stand or fall by the number of their farms.
EVEN = st.builds(Contribution, st.integers(0, 40).map("farm {:02d}".format), st.floats(1, 2), st.floats(1, 2), LABELS)
EVEN_FARMS = st.lists(EVEN, min_size=20, max_size=60)
ALL_FARMS = st.one_of(FARMS, EVEN_FARMS)


def rows_of(farms, cells):
    places = {"region": 0, "training": 1}
    return np.array(
        [[float(all(each.labels[places[n]] == label for n, label in cell)) for each in farms] for cell in sorted(cells)]
    ).reshape(len(cells), len(farms))


def within(farms, cell):
    return [each for each, held in zip(farms, rows_of(farms, [cell])[0], strict=True) if held]


@settings(deadline=None, max_examples=50)
@given(ALL_FARMS)
def test_no_cell_is_told_that_breaks_a_rule(farms):
    for cell in release_cells(farms, PLAIN).told:
        behind = {each.farm for each in within(farms, cell) if each.value > 0}
        assert len(behind) >= 6
        assert why_withheld(within(farms, cell)) is None


@settings(deadline=None, max_examples=50)
@given(ALL_FARMS)
def test_no_withheld_cell_can_be_had_from_told_ones(farms):
    told = release_cells(farms, PLAIN).told
    for cell in set(PLAIN.cells()) - told:
        row = rows_of(farms, [cell])[0] if farms else np.zeros(0)
        assert not row.any() or not can_be_had(row, rows_of(farms, told))


@settings(deadline=None, max_examples=50)
@given(ALL_FARMS)
def test_what_is_left_of_a_told_cell_keeps_the_rules_too(farms):
    told = release_cells(farms, PLAIN).told
    for division in PLAIN.divisions(()):
        gone = [each for cell in division if cell in told for each in within(farms, cell)]
        rest = [each for each in farms if each not in gone]
        if () in told and gone and rest:
            assert why_withheld(rest) is None


@settings(deadline=None, max_examples=60)
@given(ALL_FARMS)
def test_no_difference_of_told_cells_rests_on_fewer_farms_than_a_cell_needs(farms):
    """By hand: every sum of told cells with factors −1, 0 and 1."""
    told = rows_of(farms, release_cells(farms, PLAIN).told)
    for factors in product([-1, 0, 1], repeat=len(told)):
        mixed = np.array(factors) @ told if len(told) else np.zeros(len(farms))
        behind = {each.farm for each, held in zip(farms, mixed, strict=True) if held and each.value > 0}
        assert not np.any(mixed) or len(behind) >= 6


@settings(deadline=None, max_examples=50)
@given(ALL_FARMS, st.randoms(use_true_random=False), st.sampled_from([5, 7]))
def test_the_order_of_farms_changes_nothing_and_the_same_input_tells_the_same(farms, chance: random.Random, fewest):
    rules = PrivacyRules(fewest_others=fewest)
    shuffled = chance.sample(farms, len(farms))
    assert (
        release_cells(farms, PLAIN, rules)
        == release_cells(shuffled, PLAIN, rules)
        == release_cells(farms, PLAIN, rules)
    )


@settings(deadline=None, max_examples=50)
@given(EVEN_FARMS, st.floats(0.001, 1000))
def test_the_unit_of_the_figure_changes_nothing_of_what_is_withheld(farms, factor):
    in_other_units = [Contribution(each.farm, each.value * factor, each.weight, each.labels) for each in farms]
    assert release_cells(farms, PLAIN).told == release_cells(in_other_units, PLAIN).told


@settings(deadline=None, max_examples=50)
@given(EVEN_FARMS)
def test_tighter_rules_never_tell_a_cell_by_itself_that_wider_ones_withhold(farms):
    for cell in release_cells(farms, PLAIN, PrivacyRules(fewest_others=9)).told:
        assert len({each.farm for each in within(farms, cell)}) >= 10


@st.composite
def sums_over_groups(draw):
    groups = draw(st.integers(1, 7))
    rows = draw(st.lists(st.lists(st.sampled_from([0.0, 1.0]), min_size=groups, max_size=groups), max_size=5))
    farms = st.frozensets(st.sampled_from("abcdefgh"), min_size=1, max_size=3)
    return np.array(rows).reshape(-1, groups), draw(st.lists(farms, min_size=groups, max_size=groups))


@settings(deadline=None, max_examples=200)
@given(sums_over_groups(), st.integers(0, 5))
def test_the_search_finds_the_few_farms_behind_a_difference_just_where_trying_every_set_does(world, at_most):
    rows, behind = world
    # One column for each farm of a group, alike: what a set of farms leaves untouched is what the others hold.
    found = fewest_behind(rows, behind, at_most)
    by_trying = next(
        (
            size
            for size in range(at_most + 1)
            for chosen in combinations("abcdefgh", size)
            if _has_a_vector_on(rows, [farms <= set(chosen) for farms in behind])
        ),
        None,
    )
    assert (found is None) == (by_trying is None)
    if found:
        held = np.abs(found.vector) > 1e-9
        assert held.any() and can_be_had(found.vector, rows)
        assert len(found.farms) <= at_most
        assert all(behind[group] <= found.farms for group in np.flatnonzero(held))


def _has_a_vector_on(rows, allowed) -> bool:
    """A vector of the row space that is zero elsewhere: the rank falls when only the other columns are looked at."""
    others = rows[:, ~np.array(allowed, bool)]
    rank = np.linalg.matrix_rank(rows) if rows.size else 0
    return (np.linalg.matrix_rank(others) if others.size else 0) < rank


@pytest.mark.parametrize("seed", range(4))
def test_the_search_agrees_with_every_set_of_farms_on_a_small_program(seed):
    draw = np.random.default_rng(seed)
    rows = (draw.random((5, 12)) < 0.4).astype(float)
    farms = [f"farm {n}" for n in range(12)]
    fewest = fewest_by_trying(rows, farms, 5)
    assert fewest is not None
    behind = [frozenset([farm]) for farm in farms]
    assert fewest_behind(rows, behind, fewest - 1) is None
    found = fewest_behind(rows, behind, fewest)
    assert found is not None and len(found.farms) == fewest


def test_a_search_without_end_says_so_and_the_release_withholds(monkeypatch):
    monkeypatch.setattr("balance.formulas.privacy.row_space.MOST_STEPS", 0)
    with pytest.raises(NotProven):
        fewest_behind(np.eye(3), [frozenset("a")] * 3, 1)
    farms = [Contribution(f"farm {n}", 1, 1, ("abc"[n % 3], "xy"[n % 2])) for n in range(24)]
    assert release_cells(farms, PLAIN).told == frozenset()


@settings(deadline=None, max_examples=50)
@given(st.lists(EVEN, min_size=20, max_size=41, unique_by=lambda each: each.farm))
def test_the_total_of_farms_of_like_size_is_told_whatever_is_withheld_below_it(farms):
    assert () in release_cells(farms, PLAIN).told
