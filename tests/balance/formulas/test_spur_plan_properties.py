"""What holds for every spur plan, by property tests."""

from __future__ import annotations

import random
from dataclasses import replace
from decimal import Decimal
from itertools import pairwise
from typing import Any

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from balance.formulas.errors import OutOfRange
from balance.formulas.spur_plan.candidates import Arm, Candidate, whole
from balance.formulas.spur_plan.evaluation import counted_nodes, linked, neighbours
from balance.formulas.spur_plan.plan import NEAREST, OK, spur_plan, workings
from balance.formulas.spur_plan.reasons import CUT
from balance.formulas.spur_plan.renewal import asks_for_renewal
from balance.formulas.spur_plan.rules import CANE_RULES, SPUR_RULES, TERMS
from balance.formulas.spur_plan.totals import cheapest_plans
from tests.balance.formulas.spur_vines import grown, vines

targets = st.integers(0, 30)
ONE_ARM = [Arm("only", 0.8)]


@settings(deadline=None)
@given(vine=vines(most=9), target=targets, chance=st.randoms())
def test_the_order_of_canes_and_of_arms_changes_nothing(vine, target, chance):
    canes, arms, rules = vine
    plan = spur_plan(canes, arms, target, rules)
    shuffled, sides = list(canes), list(arms)
    chance.shuffle(shuffled)
    chance.shuffle(sides)
    again = spur_plan(shuffled, sides, target, rules)
    assert {choice.name: choice for choice in again.choices} == {choice.name: choice for choice in plan.choices}
    assert [choice.name for choice in again.choices] == [cane.name for cane in shuffled]
    assert (again.points, again.every_total, again.kept) == (plan.points, plan.every_total, plan.kept)


@settings(deadline=None)
@given(vine=vines(most=9), target=targets, more=st.integers(1, 20))
def test_the_optimum_of_a_total_does_not_depend_on_how_many_totals_are_asked_for(vine, target, more):
    canes, arms, rules = vine
    few, many = (cheapest_plans(canes, arms, highest, rules) for highest in (target, target + more))
    assert many.points[: target + 1] == few.points
    if few.points[target] is not None:
        assert few.plan(target) == many.plan(target)


@settings(deadline=None)
@given(vine=vines(most=9))
def test_one_more_cane_to_choose_from_never_makes_any_total_dearer(vine):
    canes, arms, rules = vine
    assume(canes)
    fewer, more = (cheapest_plans(some, arms, 30, rules).points for some in (canes[1:], canes))
    for without, with_it in zip(fewer, more, strict=True):
        assert without is None or (with_it is not None and with_it <= without)


@settings(deadline=None)
@given(vine=vines(most=9), target=targets)
def test_a_plan_keeps_to_the_limits_of_the_form_the_space_and_the_wood(vine, target):
    canes, arms, rules = vine
    plan = spur_plan(canes, arms, target, rules)
    spaces = {arm.name: whole(arm.space_m, 1000) for arm in arms}
    for kept in plan.kept:
        low, high = (rules.renewal_fewest, rules.renewal_most) if kept.renews else (rules.fewest, rules.most)
        assert low <= kept.nodes <= min(high, kept.candidate.nodes)
        assert kept.candidate.position_mm <= spaces[kept.candidate.arm]
        if rules.internode_m and rules.form == "cane" and not kept.renews:
            assert kept.candidate.position_mm + kept.nodes * 90 <= spaces[kept.candidate.arm]
    assert counted_nodes(plan.kept, rules) == plan.total
    assert len({kept.candidate.name for kept in plan.kept}) == len(plan.kept)


@settings(deadline=None)
@given(vine=vines(most=9), target=targets)
def test_a_renewal_spur_always_stands_beside_what_asks_for_it(vine, target):
    canes, arms, rules = vine
    plan = spur_plan(canes, arms, target, rules)
    for arm in arms:
        here = neighbours(plan.kept, arm)
        for number, one in enumerate(here):
            if one.renews:
                beside = here[max(0, number - 1) : number] + here[number + 1 : number + 2]
                assert any(linked(one, other, rules) and asks_for_renewal(other.candidate, rules) for other in beside)


@settings(deadline=None)
@given(vine=vines(most=9), target=targets)
def test_a_target_that_no_plan_has_gets_the_nearest_total_and_the_reason(vine, target):
    canes, arms, rules = vine
    plan = spur_plan(canes, arms, target, rules)
    possible = [
        total for total, points in enumerate(cheapest_plans(canes, arms, 60, rules).points) if points is not None
    ]
    assert plan.total == min(possible, key=lambda total: (abs(total - target), total))
    assert plan.status == (OK if plan.total == target else NEAREST)
    assert (plan.reason is None) == (plan.total == target)
    if plan.reason:
        assert str(target) in plan.reason
        assert str(plan.total) in plan.reason
        assert plan.reason.startswith("The vine cannot carry") == (max(possible) < target)


@settings(deadline=None)
@given(vine=vines(most=9), target=targets)
def test_the_steps_add_up_to_the_points_of_the_plan(vine, target):
    canes, arms, rules = vine
    plan = spur_plan(canes, arms, target, rules)
    *terms, total = workings(plan)
    assert [step.label for step in terms] == [term.label for term in TERMS]
    assert sum(step.value or 0 for step in terms) == total.value == plan.points
    if plan.status == OK:
        assert plan.every_total[target] == plan.points


def test_nodes_of_renewal_spurs_outside_the_total_stand_beside_it():
    chance = random.Random(5)
    seen = 0
    for _ in range(20):
        (canes, arms, rules), target = grown(chance, 20, 2, replace(CANE_RULES, renewal_inside=False))
        plan = spur_plan(canes, arms, target, rules)
        bearing = sum(kept.nodes for kept in plan.kept if not kept.renews)
        renewing = sum(kept.nodes for kept in plan.kept if kept.renews)
        assert (plan.total, plan.outside) == (bearing, renewing)
        seen += renewing
    assert seen > 0


def test_inches_and_centimetres_of_one_vine_give_one_plan_in_100_random_cases():
    """1 in = 2.54 cm exactly (NIST SP 811)."""
    chance = random.Random(2027)
    for _ in range(100):
        sixteenths = [chance.randrange(0, 400) for _ in range(8)]
        exact = [float(Decimal(number) / 16 * Decimal("0.0254")) for number in sixteenths]
        floats = [number / 16 * 0.0254 for number in sixteenths]
        plans = [
            spur_plan([Candidate(str(n), "only", at, 5) for n, at in enumerate(places)], ONE_ARM, 8, SPUR_RULES)
            for places in (exact, floats)
        ]
        assert plans[0].choices == plans[1].choices


@pytest.mark.parametrize(
    ("worse", "term"),
    [({"diameter_mm": 6.0}, "wood"), ({"angle_deg": 60.0}, "angle"), ({"creep_m": 0.08}, "nearness"),
     ({"kind": "water_shoot"}, "kind")],
)  # fmt: skip
def test_of_two_canes_alike_but_for_one_thing_the_better_is_kept(worse, term):
    better: dict[str, Any] = {"diameter_mm": 9.0, "angle_deg": 0.0, "creep_m": 0.01}
    canes = [Candidate("good", "only", 0.4, 6, **better), Candidate("worse", "only", 0.4, 6, **{**better, **worse})]
    plan = spur_plan(canes, ONE_ARM, 2, SPUR_RULES)
    assert [choice.nodes for choice in plan.choices] == [2, 0]
    assert (plan.choices[1].dearer or 0) > 0
    forced = spur_plan(canes[1:], ONE_ARM, 2, SPUR_RULES)
    assert forced.by_term[term] > plan.by_term[term]


def test_spurs_stand_evenly_where_the_wood_is_alike():
    canes = [Candidate(str(at), "only", at / 100, 6) for at in range(2, 80, 2)]
    kept = spur_plan(canes, ONE_ARM, 8, SPUR_RULES).kept
    places = [one.candidate.position_mm for one in kept]
    gaps = [
        2 * places[0],
        *(after - before for before, after in pairwise(places)),
        2 * (800 - places[-1]),
    ]
    assert len(kept) == 4
    assert all(80 <= gap <= 200 for gap in gaps)


def test_growth_that_crept_is_kept_with_a_renewal_spur_beside_it():
    crept = Candidate("crept", "only", 0.40, 6, creep_m=0.15)
    low = Candidate("low", "only", 0.38, 2, creep_m=0.01, kind="water_shoot")
    others = [Candidate(str(at), "only", at / 100, 1) for at in (10, 25, 55, 70)]
    plan = spur_plan([crept, low, *others], ONE_ARM, 9, SPUR_RULES)
    roles = {choice.name: choice.role for choice in plan.choices}
    assert (roles["crept"], roles["low"]) == ("spur", "renewal_spur")


def test_arms_carry_nodes_in_proportion_to_their_space():
    arms = [Arm("long", 0.9), Arm("short", 0.3)]
    canes = [
        Candidate(f"{arm.name} {n}", arm.name, 0.06 + 0.12 * n, 6)
        for arm in arms
        for n in range(round(arm.space_m / 0.12))
    ]
    plan = spur_plan(canes, arms, 16, SPUR_RULES)
    carried = {arm.name: sum(choice.nodes for choice in plan.choices if choice.arm == arm.name) for arm in arms}
    assert carried == {"long": 12, "short": 4}


@pytest.mark.parametrize(
    ("canes", "arms", "target"),
    [([], ONE_ARM, 401), ([], ONE_ARM, -1), ([], [], 0), ([], [Arm("only", 0)], 0), ([], [Arm("only", float("nan"))], 0),
     ([Candidate("a", "only", -0.1, 2)], ONE_ARM, 2), ([Candidate("a", "only", 0.1, 201)], ONE_ARM, 2),
     ([Candidate("a", "only", 0.1, 2, diameter_mm=0)], ONE_ARM, 2),
     ([Candidate("a", "only", 0.1, 2, angle_deg=float("inf"))], ONE_ARM, 2),
     ([Candidate("a", "only", 0.1, 2, creep_m=float("nan"))], ONE_ARM, 2),
     ([Candidate(str(n), "only", 0.1, 2) for n in range(201)], ONE_ARM, 2)],
)  # fmt: skip
def test_what_no_vine_can_be_is_refused(canes, arms, target):
    with pytest.raises(OutOfRange):
        spur_plan(canes, arms, target, SPUR_RULES)


@pytest.mark.parametrize(
    "canes",
    [[Candidate("a", "other", 0.1, 2)], [Candidate("a", "only", 0.1, 2), Candidate("a", "only", 0.2, 2)],
     [Candidate("a", "only", 0.1, 2, kind="root")]],
)  # fmt: skip
def test_a_cane_without_an_arm_or_a_name_of_its_own_is_refused(canes):
    with pytest.raises(ValueError, match="cane"):
        spur_plan(canes, ONE_ARM, 2, SPUR_RULES)


def test_a_vine_without_canes_keeps_none_and_says_so():
    plan = spur_plan([], ONE_ARM, 12, SPUR_RULES)
    assert (plan.total, plan.kept, plan.choices, plan.status) == (0, (), (), NEAREST)


def test_nothing_is_kept_beyond_the_halfway_line_even_where_the_target_needs_it():
    plan = spur_plan([Candidate("far", "only", 0.801, 6), Candidate("near", "only", 0.8, 6)], ONE_ARM, 6, SPUR_RULES)
    assert [choice.role for choice in plan.choices] == [CUT, "spur"]
    assert "beyond the halfway line" in plan.choices[0].sentence
    assert plan.total == 3
