"""Survival of groups against an independent library and its bundled real data, and what holds for any data."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from lifelines import KaplanMeierFitter, datasets

from balance.formulas.cordons.risk_sets import risk_sets
from balance.formulas.cordons.survival import PLAIN, Survival, kaplan_meier, medians
from balance.formulas.errors import OutOfRange

EXACT: dict[str, Any] = {"rtol": 1e-9, "atol": 1e-9}
#: Bundled with lifelines 0.30 (MIT); all real: loader, columns of duration and event, column of groups.
REAL = {
    "waltons": ("T", "E", "group"),
    "lung": ("time", "status", "sex"),
    "rossi": ("week", "arrest", "prio"),
    "larynx": ("time", "death", "Stage_III"),
    "gbsg2": ("time", "cens", "tgrade"),
    "leukemia": ("t", "status", "Rx"),
    "kidney_transplant": ("time", "death", "black_male"),
    "lymphoma": ("Time", "Censor", "Stage_group"),
    "canadian_senators": ("diff_days", "observed", "Province / Territory"),
    "dd": ("duration", "observed", "regime"),
}


def rows_of(table: Survival, group: int) -> slice:
    return slice(*table.sets.begins[group : group + 2])


def assert_like_lifelines(table: Survival, group: int, fitted: Any) -> None:
    """Compare one group, row by row, and its median."""
    rows = rows_of(table, group)
    times, survival = table.sets.times[rows], table.survival[rows]
    at = np.searchsorted(fitted.timeline, times)
    assert np.array_equal(fitted.timeline[at], times)
    np.testing.assert_allclose(survival, fitted.survival_function_.to_numpy()[at, 0], **EXACT)
    theirs = fitted.event_table.loc[times]
    assert np.array_equal(table.sets.events[rows], theirs["observed"])
    assert np.array_equal(table.sets.censored[rows], theirs["censored"])
    assert np.array_equal(
        table.sets.at_risk[rows], (theirs["at_risk"] - theirs["entrance"] * (theirs.index > fitted.timeline[0]))
    )
    inside = (survival > 0) & (survival < 1)  # elsewhere lifelines prints an interval without width, ours is none
    assert np.isnan(table.low[rows][~inside]).all()
    assert np.isnan(table.high[rows][~inside]).all()
    bounds = fitted.confidence_interval_.to_numpy()[at]
    np.testing.assert_allclose(np.column_stack([table.low[rows], table.high[rows]])[inside], bounds[inside], **EXACT)
    greenwood = fitted._cumulative_sq_.to_numpy()[at]
    np.testing.assert_allclose(table.variance[rows][inside], (survival**2 * greenwood)[inside], **EXACT)
    if not np.isclose(survival, 0.5, **EXACT).any():  # its sums of logarithms may miss a half that is one
        median = medians(table).median[group]
        assert median == fitted.median_survival_time_ or (np.isnan(median) and np.isinf(fitted.median_survival_time_))


@pytest.mark.parametrize("name", REAL)
@pytest.mark.parametrize("late", [False, True], ids=["from the beginning", "entered late"])
def test_real_data_as_lifelines_has_it(name, late):
    duration, event, by = REAL[name]
    told = getattr(datasets, f"load_{name}")()
    told = told[told[duration] > 0]
    times, events = told[duration].to_numpy(float), told[event].to_numpy() > 0
    names, groups = np.unique(told[by].astype(str), return_inverse=True)
    # Late entry is drawn, and in each group one is there from the beginning, so that nobody's risk set starts empty.
    entry = np.floor(times * np.random.default_rng(5).uniform(0, 0.4, len(times))) if late else None
    table = kaplan_meier(times, events, entry=entry, groups=groups)
    assert len(table.sets.begins) - 1 == len(names) >= 2
    for group in range(len(names)):
        own = groups == group
        if own.sum() < 8:
            continue
        fitted = KaplanMeierFitter().fit(times[own], events[own], entry=None if entry is None else entry[own])
        assert_like_lifelines(table, group, fitted)


def test_aids_cohort_that_entered_late_in_truth_as_lifelines_has_it():
    """Years from infection to entering the Multicenter AIDS Cohort Study, and to AIDS or the last visit."""
    told = datasets.load_multicenter_aids_cohort_study()
    entry, left, fell_ill = (told[name].to_numpy() for name in ("W", "T", "D"))
    table = kaplan_meier(left, fell_ill, entry=entry)
    assert_like_lifelines(table, 0, KaplanMeierFitter().fit(left, fell_ill, entry=entry))


def test_patients_followed_by_age_as_lifelines_has_it():
    """26 psychiatric patients, at risk from the age at which they were admitted; whole years, with ties."""
    told = datasets.load_psychiatric_patients()
    entry = told["Age"].to_numpy()
    left, died = entry + told["T"].to_numpy(), told["C"].to_numpy()
    table = kaplan_meier(left, died, entry=entry)
    assert_like_lifelines(table, 0, KaplanMeierFitter().fit(left, died, entry=entry))


SPELLS = st.lists(
    st.tuples(st.integers(0, 3), st.integers(0, 12), st.integers(1, 8), st.booleans()), min_size=1, max_size=60
)


@given(SPELLS, st.sampled_from([1, 0.25, 1 / 3]))
@settings(deadline=None)
def test_any_data_as_lifelines_has_it_on_the_grid_and_sorted(spells, scale):
    """Scaled by a third, times are no whole numbers, so that they are sorted and not counted on the grid."""
    groups, entry, stays, events = (np.array(column) for column in zip(*spells, strict=True))
    left, entry = (entry + stays) * scale, entry * scale
    for entered in (None, entry):
        table = kaplan_meier(left, events, entry=entered, groups=groups, count=4)
        for group in range(4):
            own = groups == group
            if not own.any():
                assert rows_of(table, group).start == rows_of(table, group).stop
                continue
            rows = rows_of(table, group)
            expected = by_hand(left[own], events[own], None if entered is None else entered[own])
            got = zip(
                *(each[rows].tolist() for each in (table.sets.times, table.sets.at_risk, table.survival)), strict=True
            )
            assert [each == pytest.approx(one, rel=1e-12) for each, one in zip(got, expected, strict=True)]
            if entered is None:
                assert_like_lifelines(table, group, KaplanMeierFitter().fit(left[own], events[own]))


def by_hand(left: Any, events: Any, entry: Any) -> list[tuple[float, int, float]]:
    """Give time, at risk and survival as the definition has them, one individual after the other."""
    rows, share = [], 1.0
    for time in sorted(set(left)):
        at_risk = sum(1 for row, out in enumerate(left) if out >= time and (entry is None or entry[row] < time))
        ended = sum(1 for row, out in enumerate(left) if out == time and events[row])
        share *= 1 - ended / at_risk
        rows.append((time, at_risk, share))
    return rows


@given(SPELLS)
@settings(deadline=None)
def test_groups_do_not_touch_each_other(spells):
    groups, entry, stays, events = (np.array(column) for column in zip(*spells, strict=True))
    together = kaplan_meier(entry + stays, events, entry=entry, groups=groups, count=4)
    for group in range(4):
        own = groups == group
        alone = kaplan_meier((entry + stays)[own], events[own], entry=entry[own])
        for name in ("survival", "variance", "low", "high"):
            np.testing.assert_allclose(
                getattr(together, name)[rows_of(together, group)], getattr(alone, name), rtol=1e-9, equal_nan=True
            )


@given(SPELLS, st.sampled_from(["log_log", "plain"]), st.floats(0.01, 0.99))
@settings(deadline=None)
def test_survival_falls_within_its_interval_and_nobody_is_lost(spells, interval, confidence):
    groups, entry, stays, events = (np.array(column) for column in zip(*spells, strict=True))
    table = kaplan_meier(entry + stays, events, entry=entry, groups=groups, confidence=confidence, interval=interval)
    sets, inside = table.sets, ~np.isnan(table.low)
    assert (sets.events + sets.censored).sum() == len(spells)
    assert ((table.survival >= 0) & (table.survival <= 1)).all()
    assert (np.diff(table.survival)[np.diff(sets.groups) == 0] <= 0).all()
    assert (sets.at_risk >= sets.events + sets.censored).all()
    assert ((table.low <= table.survival) & (table.survival <= table.high))[inside].all()
    assert np.array_equal(inside, (table.survival > 0) & (table.survival < 1))


def test_the_plain_interval_is_greenwoods_standard_error_each_way():
    """6 mercaptopurine, 21 patients (Freireich et al. 1963): S(6) = 0.857, standard error 0.0764 (from memory)."""
    times = [6, 6, 6, 7, 10, 13, 16, 22, 23, 6, 9, 10, 11, 17, 19, 20, 25, 32, 32, 34, 35]
    table = kaplan_meier(times, [1] * 9 + [0] * 12, interval=PLAIN)
    assert (table.survival[0], table.variance[0] ** 0.5) == (pytest.approx(18 / 21), pytest.approx(0.0764, abs=5e-5))
    assert (table.low[0], table.high[0]) == pytest.approx((18 / 21 - 1.959964 * 0.0763604, 1.0), abs=1e-6)
    assert medians(table).median.tolist() == [23]


def test_all_censored_survival_stays_one_without_an_interval_or_a_median():
    table = kaplan_meier([2, 2, 5], [0, 0, 0])
    assert table.survival.tolist() == [1, 1]
    assert np.isnan([table.low, table.high]).all()
    assert np.isnan(medians(table).median).all()
    assert table.variance.tolist() == [0, 0]


def test_one_row_that_ends_at_time_zero_leaves_nothing_and_no_interval():
    table = kaplan_meier([0], [1])
    assert (table.survival.tolist(), table.sets.at_risk.tolist()) == ([0.0], [1])
    assert np.isnan([table.low[0], table.high[0], table.variance[0]]).all()
    assert medians(table).median.tolist() == [0]
    assert np.isnan(medians(table).high).all()


def test_once_nobody_lives_nobody_who_enters_later_lives_again():
    table = kaplan_meier([2, 9, 9], [1, 0, 1], entry=[0, 4, 5])
    assert (table.survival.tolist(), table.sets.at_risk.tolist()) == ([0, 0], [1, 2])


@pytest.mark.parametrize("count", [None, 3])
def test_nobody_makes_empty_tables(count):
    table = kaplan_meier([], [], count=count)
    assert (len(table.sets), len(medians(table).median)) == (0, count or 1)


def test_a_group_of_nobody_has_no_rows():
    table = kaplan_meier([1, 2.5], [1, 1], groups=[0, 2], count=4)
    assert table.sets.begins.tolist() == [0, 1, 1, 2, 2]
    np.testing.assert_array_equal(medians(table).median, [1, np.nan, 2.5, np.nan])


@pytest.mark.parametrize("time", [1e300, -1e300, 2.0**60, 5e-324])
def test_times_beyond_whole_numbers_are_taken_as_they_are(time):
    assert kaplan_meier([time, time], [1, 0]).sets.times.tolist() == [time]


@pytest.mark.parametrize("kind", [np.int8, np.uint8, np.int16, np.float32])
def test_narrow_columns_count_like_wide_ones(kind):
    left, groups = np.array([100, 120, 127], dtype=kind), np.array([0, 100, 100], dtype=np.uint8)
    table = kaplan_meier(left, [1, 1, 0], entry=np.array([0, 1, 120], dtype=kind), groups=groups)
    assert (table.sets.times.tolist(), table.sets.at_risk.tolist()) == ([100, 120, 127], [1, 1, 1])


def test_many_groups_that_are_far_apart_in_time_are_sorted_not_laid_out_on_a_grid():
    table = kaplan_meier([0, 10**12], [1, 1], groups=[0, 1])
    assert table.sets.times.tolist() == [0, 10**12]


@pytest.mark.parametrize(
    ("told", "name"),
    [
        ({"durations": [1, np.nan]}, "duration"),
        ({"durations": [1, np.inf]}, "duration"),
        ({"entry": [0, -np.inf]}, "entry"),
        ({"entry": [0, 2]}, "entry"),
        ({"groups": [0, -1]}, "group"),
        ({"groups": [0, 2], "count": 2}, "group"),
        ({"confidence": 1}, "confidence"),
        ({"confidence": np.nan}, "confidence"),
    ],
)
def test_what_no_table_could_hold_is_refused_by_name(told, name):
    with pytest.raises(OutOfRange, match=name):
        kaplan_meier(**{"durations": [1.0, 2.0], "events": [1, 0], **told})


@pytest.mark.parametrize("told", [{"interval": "wald"}, {"events": [1]}, {"entry": [0]}, {"groups": [0, 0, 0]}])
def test_what_does_not_fit_together_is_refused(told):
    with pytest.raises(ValueError, match="one length|interval"):
        kaplan_meier(**{"durations": [1.0, 2.0], "events": [1, 0], **told})


@given(st.integers(2, 2000), st.integers(0, 2**32 - 1))
@settings(deadline=None, max_examples=25)
def test_the_grid_and_the_sort_count_alike(size, seed):
    chance = np.random.default_rng(seed)
    entry, groups = chance.integers(0, 30, size), chance.integers(0, 5, size)
    left, events = entry + chance.integers(1, 40, size), chance.random(size) < 0.3
    grid = risk_sets(left, events, entry=entry, groups=groups, count=5)
    # A fraction on every time keeps its order, and takes it off the grid.
    rank = risk_sets(left + 0.5, events, entry=entry + 0.5, groups=groups, count=5)
    assert np.array_equal(grid.times + 0.5, rank.times)
    for name in ("groups", "at_risk", "events", "censored", "begins"):
        assert np.array_equal(getattr(grid, name), getattr(rank, name)), name
