"""What must hold of lost fruiting capacity, and the recursion against cordons that are followed one by one."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from balance.formulas.cordons.blank_shares import blank_shares
from balance.formulas.cordons.capacity import Standing, lost_ahead, lost_now, young_losses
from balance.formulas.cordons.paces import smallest_pace
from balance.formulas.errors import OutOfRange

SHARE = st.floats(0, 1)
RATES = st.lists(st.floats(0, 0.6), min_size=1, max_size=10)
PACE = st.floats(0, 60)
CLOSE = 1e-9


@st.composite
def standings(draw, *, whole_when_grown: bool = False, waiting_lacks_most: bool = False) -> Standing:
    years = draw(st.integers(1, 4))
    losses = young_losses(draw(SHARE), years)
    young = tuple(float(draw(st.integers(0, 10))) for _ in range(years))
    waiting = float(draw(st.integers(0, 40)))
    grown = draw(st.integers(0, 200))
    return Standing(
        cordons=max(waiting + sum(young) + grown, 1.0),
        waiting=waiting,
        lost_of_waiting=draw(st.floats(losses[0], 1)) if waiting_lacks_most else draw(SHARE),
        young=young,
        lost_of_young=losses,
        lost_of_grown=0.0 if whole_when_grown else draw(SHARE),
    )


def lost(standing: Standing, rates: list[float], pace: float) -> np.ndarray:
    return lost_ahead(standing, rates, [pace]).lost[:, 0]


@settings(max_examples=200, deadline=None)
@given(standings(waiting_lacks_most=True), RATES, PACE, PACE)
def test_where_a_failed_cordon_lacks_at_least_what_a_new_arm_does_a_faster_pace_loses_no_more_in_any_winter(
    standing, rates, one, other
):
    slow, fast = sorted((one, other))
    assert (lost(standing, rates, fast) <= lost(standing, rates, slow) + CLOSE).all()


@settings(max_examples=200, deadline=None)
@given(standings(), RATES, PACE, PACE)
def test_else_it_loses_at_most_what_new_arms_lack_beyond_the_failed_cordons_that_it_took_from_those_that_wait(
    standing, rates, one, other
):
    slow, fast = (lost_ahead(standing, rates, [pace]) for pace in sorted((one, other)))
    beyond = max(standing.lost_of_young[0] - standing.lost_of_waiting, 0)
    allowed = beyond * (slow.waiting - fast.waiting) / standing.cordons
    assert (fast.waiting <= slow.waiting + CLOSE).all()
    assert (fast.lost <= slow.lost + allowed + CLOSE).all()


@settings(max_examples=100, deadline=None)
@given(standings(), st.floats(0, 0.1))
def test_beyond_the_young_phase_paces_that_leave_nobody_waiting_longer_than_a_winter_lose_the_same(standing, rate):
    enough = standing.cordons
    fast, faster = (lost_ahead(standing, [rate] * 10, [pace]) for pace in (enough, 2 * enough))
    assert faster.lost == pytest.approx(fast.lost)


@settings(max_examples=200, deadline=None)
@given(standings(whole_when_grown=True, waiting_lacks_most=True), RATES, PACE, st.integers(0, 9), st.floats(0, 0.4))
def test_more_failures_never_lose_less_where_grown_cordons_lack_nothing(standing, rates, pace, at, more):
    worse = list(rates)
    worse[at % len(rates)] += more
    assert (lost(standing, worse, pace) >= lost(standing, rates, pace) - CLOSE).all()


@given(st.integers(1, 500), RATES, PACE, SHARE, st.integers(1, 10))
def test_without_failures_and_with_nobody_waiting_nothing_is_lost(cordons, rates, pace, first, years):
    whole = Standing(float(cordons), 0.0, 1.0, (0.0,) * years, young_losses(first, years))
    assert lost_now(whole) == 0
    assert (lost(whole, [0.0] * len(rates), pace) == 0).all()


@given(standings(), RATES, PACE)
def test_what_is_lost_is_a_share_and_no_more_wait_or_fail_than_there_are(standing, rates, pace):
    path = lost_ahead(standing, rates, [pace])
    assert ((path.lost >= 0) & (path.lost <= 1)).all()
    assert (path.laid_down <= pace + CLOSE).all()
    before = np.vstack([[standing.waiting], path.waiting[:-1, :1]])
    assert path.waiting == pytest.approx(before - path.laid_down + path.failed, abs=1e-6)
    assert (path.waiting <= standing.cordons + 1e-6).all()


def test_no_winter_without_a_failure_or_a_pace_changes_anything_but_that_arms_fill():
    standing = Standing(100, 5, 0.8, (4, 2), (0.6, 0.3), 0.1)
    now = lost_now(standing)
    assert now == pytest.approx((5 * 0.8 + 4 * 0.6 + 2 * 0.3 + 89 * 0.1) / 100)
    assert lost(standing, [0, 0], 0) == pytest.approx([(4 + 4 * 0.3 + 8.9) / 100, (4 + 8.9) / 100])


@pytest.mark.parametrize(("pace", "rates"), [(0, [0.04] * 6), (7, [0.04, 0.1, 0.02, 0.3, 0, 0.05]), (60, [0.2] * 6)])
def test_the_recursion_is_the_mean_of_cordons_followed_one_by_one(pace, rates):
    """Brute force: 4,000 cordons with a state each and chance deciding, in 200 runs; the pace is scaled alike."""
    scale, runs = 40, 200
    lacks = np.array([0.9, 0.6, 0.3, 0.0, 0.07])  # waits, laid down, a year later, full, grown from before
    start = np.repeat([0, 1, 2, 4], np.array([6, 3, 2, 89]) * scale)
    told = np.zeros((runs, len(rates)))
    for run in range(runs):
        rng, states = np.random.default_rng(run), start.copy()
        for winter, rate in enumerate(rates):
            waits = np.flatnonzero(states == 0)[: pace * scale]
            states = np.where((states == 1) | (states == 2), states + 1, states)
            states[waits] = 1
            states[(states > 0) & (rng.random(states.size) < rate)] = 0
            told[run, winter] = lacks[states].mean()
    own = lost(Standing(100, 6, 0.9, (3, 2), (0.6, 0.3), 0.07), rates, pace)
    assert own == pytest.approx(told.mean(axis=0), abs=0.002)


@settings(max_examples=100, deadline=None)
@given(standings(), RATES, SHARE, st.booleans())
def test_the_smallest_pace_is_the_first_that_keeps_the_limit_when_all_are_tried(standing, rates, limit, only_last):
    found = smallest_pace(standing, rates, limit, only_last=only_last)
    tried = lost_ahead(standing, rates, np.arange(int(standing.cordons) + 3)).lost
    worst = np.round(tried[-1] if only_last else tried.max(axis=0), 9)
    keep = np.flatnonzero(worst <= round(limit, 9))
    assert found.pace == (int(keep[0]) if keep.size else None)
    assert (found.reason is None) == bool(keep.size)
    assert found.best_share == pytest.approx(worst.min(), abs=1e-8)


@pytest.mark.parametrize(
    "wrong",
    [
        {"cordons": 0}, {"cordons": float("nan")}, {"waiting": -1}, {"waiting": 99}, {"lost_of_waiting": 1.1},
        {"young": (1,)}, {"young": (), "lost_of_young": ()}, {"lost_of_young": (0.1, 0.5)}, {"lost_of_grown": -0.1},
        {"young": (float("nan"), 0)},
    ],
)  # fmt: skip
def test_a_start_that_cannot_be_is_refused(wrong):
    right = {"cordons": 10, "waiting": 1, "lost_of_waiting": 1, "young": (1, 1), "lost_of_young": (0.5, 0.2)}
    with pytest.raises(OutOfRange):
        Standing(**{**right, **wrong})


@pytest.mark.parametrize(
    ("rates", "paces", "limit"), [([], [1], 0.1), ([1.1], [1], 0.1), ([0.1], [-1], 0.1), ([float("nan")], [1], 0.1)]
)
def test_a_path_that_cannot_be_is_refused(rates, paces, limit):
    with pytest.raises(OutOfRange):
        lost_ahead(Standing(10, 1, 1, (1,), (0.5,)), rates, paces)


@pytest.mark.parametrize("limit", [-0.1, 1.1, float("nan")])
def test_a_limit_that_cannot_be_is_refused(limit):
    with pytest.raises(OutOfRange):
        smallest_pace(Standing(10, 1, 1, (1,), (0.5,)), [0.1], limit)


NAN = float("nan")
COUNT = st.one_of(st.just(NAN), st.integers(0, 40).map(float))
LENGTH = st.one_of(st.just(NAN), st.floats(0, 5))


@settings(max_examples=200, deadline=None)
@given(COUNT, COUNT, LENGTH, LENGTH, LENGTH)
def test_what_a_cordon_lacks_is_a_share_made_of_what_is_blank_and_what_is_dead(living, blank, length, bare, dead):
    told = blank_shares([living], [blank], [length], [bare], [dead])
    lacks, is_dead, is_blank = told.lost[0], told.dead[0], told.blank[0]
    for share in (lacks, is_dead, is_blank):
        assert np.isnan(share) or 0 <= share <= 1
    if not np.isnan(is_blank):
        assert lacks == pytest.approx(is_blank + np.nan_to_num(is_dead))
    elif not np.isnan(is_dead):
        assert lacks == is_dead
    else:
        assert np.isnan(lacks) and not told.measured[0]


@pytest.mark.parametrize(
    ("told", "lacks"),
    [
        ((10, 0, NAN, NAN, NAN), 0.0),  # zero
        ((10, NAN, NAN, NAN, NAN), NAN),  # not counted
        ((0, 0, NAN, NAN, NAN), NAN),  # nothing there to take a share of
        ((0, 0, 2, 0.5, NAN), 0.25),
        ((0, 8, 2, 0.5, NAN), 1.0),  # positions come first
        ((NAN, NAN, 2, NAN, 0.5), 0.25),
        ((8, 2, 2, NAN, 1.0), 0.5),  # what is dead bears nothing
        ((NAN, NAN, 0, 0, 0), NAN),
    ],
)
def test_zero_missing_and_not_measured_are_told_apart(told, lacks):
    assert blank_shares(*([each] for each in told)).lost[0] == pytest.approx(lacks, nan_ok=True)


@pytest.mark.parametrize("at", range(5))
@pytest.mark.parametrize("wrong", [-1, float("inf")])
def test_a_measure_that_cannot_be_is_refused(at, wrong):
    sent = [[1.0] for _ in range(5)]
    sent[at] = [wrong]
    with pytest.raises(OutOfRange):
        blank_shares(*sent)


@pytest.mark.parametrize(("first", "years"), [(-0.1, 2), (1.1, 2), (0.5, 0), (0.5, 11), (NAN, 2)])
def test_an_arm_that_cannot_be_is_refused(first, years):
    with pytest.raises(OutOfRange):
        young_losses(first, years)
