"""Sixty farms, six regions, three seasons: nobody is seen through by anything that benchmarks tell.

The first farm to leave does so after the first season, another joins after the second.  What is asked of every
aggregate: exposed by rank (reckoned here anew, by numpy), bounded by linear programming, and by means and spreads
together; and by one farm that joins or leaves within a season.
"""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest

from balance.benchmarks.brought import told_apart
from balance.benchmarks.deciding import ToldBefore, as_before, decide, question_of, why_not_anew
from balance.benchmarks.measures import MEASURES, NAMES
from balance.formulas.privacy.audit import audit
from balance.formulas.privacy.hierarchy import gather
from balance.formulas.privacy.spreads import audit_spreads
from tests.balance.benchmarks.sixty import PLACES, SEASONS, a_year_on, as_told, farm_id, without, world


def the_seasons(seed):
    first = world(seed)
    second = a_year_on(first, seed + 1)
    third = a_year_on(second, seed + 2)
    return [without(first, 59), without(second, 7), third]  # one joins and one leaves, then one comes back


@pytest.fixture(scope="module")
def told():
    """Publish three seasons one after the other, each beside the one before it."""
    snapshots: list[ToldBefore] = []
    kept = []
    for season, farms in zip(SEASONS, the_seasons(4), strict=True):
        brought = told_apart(farms, str(season))
        cells = decide(season, brought, snapshots[-1:])
        snapshots.append(as_told(season, brought, cells))
        kept.append(cells)
    return snapshots, kept


@pytest.mark.slow
def test_at_least_three_in_ten_of_all_cells_are_told_in_each_season(told):
    for cells in told[1]:
        means = sum(cell.mean is not None for cell in cells)
        assert means >= 0.3 * PLACES * len(MEASURES)
        assert sum(cell.spread is not None for cell in cells) >= 0.3 * PLACES * len(MEASURES)


@pytest.mark.slow
@pytest.mark.parametrize("measure", NAMES)
def test_no_farm_is_exposed_by_the_rank_of_all_linear_differences(told, measure):
    """Reckoned from the labels: what a reader who knows one farm's own sums could have of another's."""
    asked = question_of(measure, (), told[0])
    for snapshot in asked.before:
        parts = gather(snapshot.contributions, asked.hierarchy)
        inside = [asked.hierarchy.cells_of(part.labels) for part in parts]
        rows = np.array([[float(cell in cells) for cells in inside] for cell in sorted(snapshot.told)])
        names = [part.farm for part in parts]
        assert len(rows) > 5
        for reader in (None, *sorted(set(names))):
            unknown = rows[:, [name != reader for name in names]]
            left = [name for name in names if name != reader]
            rank = np.linalg.matrix_rank(unknown)
            for farm in set(left):
                mine = np.array([name == farm for name in left])
                if unknown[:, mine].any():
                    # Something of this farm alone follows where the sums of all others lose a rank without it.
                    assert np.linalg.matrix_rank(unknown[:, ~mine]) == rank, (farm, reader)


@pytest.mark.slow
@pytest.mark.parametrize("measure", NAMES)
def test_no_farm_is_bounded_over_the_three_seasons(told, measure):
    asked = question_of(measure, (), told[0])
    everybody = sorted({part.farm for snapshot in asked.before for part in snapshot.contributions})
    some = [*everybody[::6], str(farm_id(7)), str(farm_id(59))]
    assert audit(asked.before, asked.hierarchy, farms=some) == ()
    assert audit_spreads(asked.before, asked.hierarchy) == ()


@pytest.mark.slow
@pytest.mark.parametrize("measure", NAMES)
def test_the_same_audit_finds_farms_where_everything_is_told(told, measure):
    """Else nothing would have been looked for."""
    asked = question_of(measure, (), told[0])
    first = asked.before[0]
    naive = dataclasses.replace(first, told=frozenset(asked.hierarchy.cells()), spreads=frozenset())
    smaller = [part for part in first.contributions if part.farm != str(farm_id(11))]
    again = dataclasses.replace(naive, contributions=tuple(smaller))
    assert audit([naive, again], asked.hierarchy, farms=[str(farm_id(11))]) != ()


@pytest.mark.slow
def test_one_farm_that_joins_or_leaves_makes_no_new_count_of_a_season(told):
    everybody = the_seasons(4)[0]
    last = told[0][0]
    for farm in everybody[::4]:
        less = told_apart([each for each in everybody if each.farm != farm.farm], "less")
        assert why_not_anew(less, [last], last) is not None
    more = told_apart(world(4), "more")
    assert why_not_anew(more, [last], last) is not None
    assert why_not_anew(told_apart(everybody, "same"), [last], last) == "Nothing that was told has changed."


@pytest.mark.slow
def test_what_is_told_again_after_one_farm_left_tells_nothing_of_it(told):
    last, cells = told[0][0], told[1][0]
    for gone in [each.farm for each in last.brought][::12]:
        again = as_before(cells, last.brought, {gone})
        left = tuple(each for each in last.brought if each.farm != gone)
        both = [last, as_told(SEASONS[0], left, again)]
        assert sum(cell.mean is not None for cell in again) > 0.3 * sum(cell.mean is not None for cell in cells)
        for measure in NAMES:
            asked = question_of(measure, (), both)
            assert audit(asked.before, asked.hierarchy, farms=[str(gone)]) == ()
            assert audit_spreads(asked.before, asked.hierarchy, farms=[str(gone)]) == ()


def test_a_farm_without_consent_changes_no_byte_whatever_it_is():
    """J6: it is not read, so this says that nothing of the order in which the others come changes anything either."""
    farms = world(9, farms=24)
    first = decide(2030, told_apart(farms, "a"), [])
    second = decide(2030, told_apart(farms[::-1], "b"), [])
    assert first == second
