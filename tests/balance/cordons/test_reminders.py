"""What a case asks for, winter by winter and summer by summer, from what was noticed to the arm that bears."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from balance.formulas.cordons.reminders import PARTS_OF_YEAR, TASKS, tasks_of
from balance.formulas.cordons.replacement_steps import FOLLOWING, GIVEN_UP, STEPS, may_follow

SEASONS = st.integers(2000, 2050)


def asked(step: str, step_in: str, season: int, part: str, *, laid: int | None = None) -> list[str]:
    return [task.code for task in tasks_of(step, 2025, laid, season, part, step_in=step_in)]


@pytest.mark.parametrize(
    ("step", "step_in", "laid", "season", "part", "tasks"),
    [
        ("noticed", "winter", None, 2025, "winter", []),
        ("noticed", "winter", None, 2025, "summer", ["look_for_candidate"]),
        ("candidate_chosen", "summer", None, 2025, "summer", []),
        ("candidate_chosen", "summer", None, 2025, "winter", []),
        ("candidate_chosen", "summer", None, 2026, "winter", ["lay_down"]),
        ("laid_down", "winter", 2025, 2025, "winter", []),
        ("laid_down", "winter", 2025, 2025, "summer", ["check_ties"]),
        ("laid_down", "winter", 2025, 2026, "winter", ["unwrap", "check_ties", "fewer_nodes"]),
        ("filling", "summer", 2024, 2026, "winter", ["check_ties", "fewer_nodes"]),
        ("bearing", "summer", 2023, 2026, "winter", ["remove_old_arm"]),
        ("failed", "winter", None, 2025, "summer", ["look_for_candidate"]),
        ("given_up", "winter", None, 2026, "winter", []),
    ],
)
def test_each_step_asks_for_its_work_in_its_season(step, step_in, laid, season, part, tasks):
    """Oregon State Univ., How to renew a grapevine cordon (READ): chosen a year ahead, laid down, unwrapped next winter."""
    assert asked(step, step_in, season, part, laid=laid) == tasks


def test_what_was_not_done_stays_due_and_says_for_how_long():
    (task,) = tasks_of("candidate_chosen", 2022, None, 2025, "winter", step_in="summer")
    assert (task.due_season, task.overdue) == (2023, 2)


@given(st.sampled_from(STEPS), SEASONS, st.none() | SEASONS, SEASONS, st.sampled_from(PARTS_OF_YEAR), st.booleans())
def test_nothing_is_asked_for_before_its_time_and_nothing_of_a_case_given_up(step, begun, laid, season, part, winter):
    tasks = tasks_of(step, begun, laid, season, part, step_in="winter" if winter else "summer")
    assert all(task.overdue == season - task.due_season >= 0 for task in tasks)
    assert {task.code for task in tasks} <= set(TASKS)
    assert not (tasks and step == GIVEN_UP)


@given(st.lists(st.sampled_from(STEPS), max_size=12))
def test_no_way_through_the_steps_fills_or_bears_what_was_never_laid_down(wanted):
    standing, laid = "noticed", False
    for step in wanted:
        if not may_follow(step, standing):
            continue
        standing = step
        laid = step == "laid_down" or (laid and step not in {"noticed", "candidate_chosen", "failed", "given_up"})
        assert laid or step not in {"filling", "bearing"}


def test_every_step_can_be_left_again():
    assert set(FOLLOWING) == set(STEPS)
    assert all(FOLLOWING[step] for step in STEPS)
