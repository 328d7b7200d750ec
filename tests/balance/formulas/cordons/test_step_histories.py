"""Attempts and waits found column by column are those that a plain walk through each case finds."""

from __future__ import annotations

from collections import Counter

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from balance.formulas.cordons.attempts import OUTCOMES, attempts_in
from balance.formulas.cordons.durations import Waits, quartiles, waits_at_steps, waits_for_bearing
from balance.formulas.cordons.replacement_steps import CLOSED, FOLLOWING, STEPS
from balance.formulas.cordons.step_history import StepHistory, carried

TODAY = 5000
Walk = list[tuple[str, int]]


@st.composite
def walks(draw: st.DrawFn) -> list[Walk]:
    """Cases that a farm could have: each step may follow the one before, and no day runs back."""
    found: list[Walk] = []
    for _ in range(draw(st.integers(0, 4))):
        walk = [("noticed", draw(st.integers(0, 900)))]
        for _ in range(draw(st.integers(0, 9))):
            step, day = walk[-1]
            walk.append((draw(st.sampled_from(FOLLOWING[step])), day + draw(st.integers(0, 400))))
        found.append(walk)
    return found


def history_of(cases: list[Walk]) -> StepHistory:
    rows = [(number, STEPS.index(step), day) for number, walk in enumerate(cases) for step, day in walk]
    columns = np.array(rows, dtype=np.int64).reshape(-1, 3).T
    return StepHistory(*columns)


def recount(walk: Walk) -> Counter[str]:
    """Say of each arm of one case what came of it, step by step."""
    found: Counter[str] = Counter()
    arm = ""
    for step, _ in walk:
        if arm and step in {"failed", "given_up"}:
            found["came_to_bear" if arm == "bearing" else "failed"] += 1
        elif arm and step in {"candidate_chosen", "laid_down"}:
            found["taken_back"] += 1
        arm = step if step in {"laid_down", "filling", "bearing"} else ""
    if arm:
        found["came_to_bear" if arm == "bearing" else "under_way"] += 1
    return found


@given(walks())
def test_attempts_are_those_of_a_recount_step_by_step(cases):
    found = attempts_in(history_of(cases))
    told = Counter(OUTCOMES[each] for each in found.outcome)
    assert told == sum((recount(walk) for walk in cases), Counter())
    assert len(found) == sum(step == "laid_down" for walk in cases for step, _ in walk)
    assert not (found.given_up & (found.outcome != OUTCOMES.index("failed"))).any()
    assert not (found.lost_again & (found.outcome != OUTCOMES.index("came_to_bear"))).any()


@given(walks())
def test_every_wait_at_a_step_is_found_once(cases):
    waits = waits_at_steps(history_of(cases), TODAY)
    expected = []
    for walk in cases:
        for number, (step, day) in enumerate(walk):
            if step not in CLOSED:
                over = number + 1 < len(walk)
                until = walk[number + 1][1] if over else max(TODAY, day)
                expected.append((until - day, over))
    assert list(zip(waits.days.tolist(), waits.over.tolist(), strict=True)) == expected


@given(walks())
def test_the_wait_for_bearing_runs_from_noticed_to_the_first_arm_that_bore(cases):
    waits = waits_for_bearing(history_of(cases), TODAY)
    expected = []
    for walk in cases:
        bore = [day for step, day in walk if step == "bearing"]
        until = bore[0] if bore else walk[-1][1] if walk[-1][0] == "given_up" else max(TODAY, walk[-1][1])
        expected.append((until - walk[0][1], bool(bore)))
    assert list(zip(waits.days.tolist(), waits.over.tolist(), strict=True)) == expected


@given(walks(), st.data())
def test_what_was_said_holds_until_something_else_is_said_and_in_its_case_only(cases, data):
    said = [[data.draw(st.integers(-1, 3)) for _ in walk] for walk in cases]
    held = carried(history_of(cases), np.array([each for words in said for each in words], dtype=np.int64))
    expected = []
    for words in said:
        now = -1
        for word in words:
            now = word if word >= 0 else now
            expected.append(now)
    assert held.tolist() == expected


@settings(max_examples=40, deadline=None)  # fitting takes lifelines its time
@given(st.lists(st.tuples(st.integers(0, 60), st.booleans()), min_size=1, max_size=40))
def test_quartiles_are_those_of_lifelines(waits):
    from lifelines import KaplanMeierFitter

    days, over = (np.array(column) for column in zip(*waits, strict=True))
    curve = KaplanMeierFitter().fit(days, over).survival_function_["KM_estimate"]
    told = quartiles(Waits(days, over.astype(bool), days, days))
    # A product that is meant to be a quarter may lie a rounding above it.
    reached = [curve.index[curve <= share + 1e-9] for share in (0.75, 0.5, 0.25)]
    assert told == tuple(float(each[0]) if len(each) else None for each in reached)


def test_no_waits_have_no_quartiles():
    nothing = np.array([], dtype=np.int64)
    assert quartiles(Waits(nothing, nothing.astype(bool), nothing, nothing)) == (None, None, None)
