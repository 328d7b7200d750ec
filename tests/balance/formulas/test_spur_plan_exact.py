"""The plan is the cheapest there is: against every plan of a small vine, and against HiGHS on larger ones."""

from __future__ import annotations

import random
from dataclasses import replace

import pytest
from hypothesis import given, settings

from balance.formulas.spur_plan.evaluation import counted_nodes, points_by_term
from balance.formulas.spur_plan.points import NEVER
from balance.formulas.spur_plan.rules import CANE_RULES, SPUR_RULES
from balance.formulas.spur_plan.totals import cheapest_plans
from tests.balance.formulas.spur_milp import least_points
from tests.balance.formulas.spur_vines import every_plan, grown, vines


def points_of(kept, arms, rules) -> int:
    return sum(points_by_term(kept, arms, rules).values())


@settings(max_examples=60, deadline=None)
@given(vine=vines())
def test_every_total_has_the_least_points_of_all_plans_that_there_are(vine):
    """Oracle: brute force, with points reckoned from the kept canes alone."""
    canes, arms, rules = vine
    least: dict[int, int] = {}
    keeping: dict[tuple[int, str], int] = {}
    for kept in every_plan(vine):
        points, total = points_of(kept, arms, rules), counted_nodes(kept, rules)
        if points < NEVER // 2:
            least[total] = min(points, least.get(total, points))
            for one in kept:
                key = (total, one.candidate.name)
                keeping[key] = min(points, keeping.get(key, points))
    plans = cheapest_plans(canes, arms, 26, rules)
    assert {total: points for total, points in enumerate(plans.points) if points is not None} == least
    for total, points in least.items():
        found = plans.plan(total)
        assert (counted_nodes(found, rules), points_of(found, arms, rules)) == (total, points)
        assert plans.with_each(total) == {cane.name: keeping.get((total, cane.name)) for cane in canes}


@pytest.mark.parametrize("inside", [True, False])
@pytest.mark.parametrize("rules", [SPUR_RULES, CANE_RULES], ids=["spur", "cane"])
@pytest.mark.parametrize(("canes", "arms"), [(12, 1), (18, 2), (24, 4)])
def test_highs_finds_no_cheaper_plan_and_none_where_there_is_none(canes, arms, rules, inside):
    """Oracle: HiGHS (scipy.optimize.milp), gap 0, on the same points."""
    chance = random.Random(canes)
    for _ in range(4):
        (vine, sides, kept_by), target = grown(chance, canes, arms, replace(rules, renewal_inside=inside))
        plans = cheapest_plans(vine, sides, target, kept_by)
        assert plans.points[target] == least_points(vine, sides, target, kept_by)
        if plans.points[target] is not None:
            assert points_of(plans.plan(target), sides, kept_by) == plans.points[target]


def test_highs_agrees_on_sixty_canes():
    chance = random.Random(60)
    for rules in (SPUR_RULES, CANE_RULES):
        (vine, sides, _), target = grown(chance, 60, 2, rules)
        plans = cheapest_plans(vine, sides, target, rules)
        assert plans.points[target] == least_points(vine, sides, target, rules)
