"""An arm that carries fewer nodes than others gets no more than it carries, and the plan is still the cheapest."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from balance.formulas.cordons.young_arm_load import YoungArm
from balance.formulas.cordons.young_arms import hold_back, hold_back_by_space
from balance.formulas.errors import OutOfRange
from balance.formulas.spur_plan.candidates import Arm
from balance.formulas.spur_plan.evaluation import counted_nodes, points_by_term
from balance.formulas.spur_plan.points import NEVER
from balance.formulas.spur_plan.rules import SPUR_RULES
from balance.formulas.spur_plan.totals import cheapest_plans
from tests.balance.formulas.spur_vines import every_plan, vines


@settings(max_examples=40, deadline=None)
@given(vine=vines(), drawn=st.data())
def test_of_all_plans_that_the_arms_can_carry_it_is_the_cheapest(vine, drawn):
    """Oracle: brute force over every plan, those left out that put more on an arm than it carries."""
    canes, arms, rules = vine
    limited = [replace(arm, most=drawn.draw(st.none() | st.integers(0, 8), label=arm.name)) for arm in arms]
    most = {arm.name: arm.most for arm in limited}
    least: dict[int, int] = {}
    for kept in every_plan(vine):
        on_arms = {name: counted_nodes([one for one in kept if one.candidate.arm == name], rules) for name in most}
        points, total = sum(points_by_term(kept, arms, rules).values()), counted_nodes(kept, rules)
        if points < NEVER // 2 and all(limit is None or on_arms[name] <= limit for name, limit in most.items()):
            least[total] = min(points, least.get(total, points))
    plans = cheapest_plans(canes, limited, 26, rules)
    assert {total: points for total, points in enumerate(plans.points) if points is not None} == least
    for total, points in least.items():
        found = plans.plan(total)
        assert counted_nodes(found, rules) == total
        for name, limit in most.items():
            if limit is not None:
                assert counted_nodes([one for one in found if one.candidate.arm == name], rules) <= limit
        keeping = [dearer for dearer in plans.with_each(total).values() if dearer is not None]
        assert all(dearer >= points for dearer in keeping)


@given(st.integers(0, 400), st.lists(st.floats(0.1, 10), min_size=1, max_size=8), st.data())
def test_shares_by_space_make_up_the_target_and_equal_spaces_give_equal_shares(target, spaces, drawn):
    young = drawn.draw(st.integers(1, len(spaces)))
    arms = [YoungArm(str(number)) for number in range(young)]
    told = hold_back_by_space(target, list(zip(arms, spaces, strict=False)), spaces[young:])
    assert told is not None
    assert told.kept is not None
    assert told.lost is not None
    assert told.kept + told.lost == target
    for load, space in zip(told.loads, spaces, strict=False):
        assert abs(load.share - target * space / sum(spaces)) < 1 + 1e-6
    even = hold_back_by_space(target, [(arm, 1.2) for arm in arms], [1.2] * (len(spaces) - young))
    equal = hold_back(target, len(spaces), arms)
    assert even is not None
    assert equal is not None
    assert (even.kept, [load.share for load in even.loads]) == (equal.kept, [load.share for load in equal.loads])


def test_an_arm_that_carries_less_than_nothing_is_refused():
    with pytest.raises(OutOfRange):
        cheapest_plans([], [Arm("only", 0.4, most=-1)], 4, SPUR_RULES)
