"""Every explanation agrees with the numbers of the plan."""

from __future__ import annotations

import re

from hypothesis import given, settings
from hypothesis import strategies as st

from balance.formulas.spur_plan.candidates import whole
from balance.formulas.spur_plan.plan import spur_plan
from balance.formulas.spur_plan.points import length_points, node_points
from balance.formulas.spur_plan.reasons import CUT, RENEWAL_SPUR
from balance.formulas.spur_plan.totals import cheapest_plans
from tests.balance.formulas.spur_vines import vines

plans = settings(deadline=None)
some = given(vine=vines(most=9), target=st.integers(0, 30))


@plans
@some
def test_a_kept_cane_says_its_nodes_its_role_and_its_distances(vine, target):
    canes, arms, rules = vine
    plan = spur_plan(canes, arms, target, rules)
    by_name = {choice.name: choice for choice in plan.choices}
    spaces = {arm.name: whole(arm.space_m, 1000) for arm in arms}
    for kept in plan.kept:
        choice, cane = by_name[kept.candidate.name], kept.candidate
        role = "renewal spur" if kept.renews else rules.form
        assert choice.sentence.startswith(f"Kept {kept.nodes} of {cane.nodes} living node")
        assert re.search(rf" as a {role}[.,]", choice.sentence)
        here = [one.candidate.position_mm for one in plan.kept if one.candidate.arm == cane.arm]
        number = [one.candidate.name for one in plan.kept if one.candidate.arm == cane.arm].index(cane.name)
        inner = here[number - 1] if number else 0
        outer = here[number + 1] if number + 1 < len(here) else spaces[cane.arm]
        assert f"It stands {cane.position_mm - inner} mm" in choice.sentence
        assert f" and {outer - cane.position_mm} mm" in choice.sentence
        assert choice.dearer is None


@plans
@some
def test_a_cane_that_is_cut_says_what_keeping_it_would_cost_and_that_is_so(vine, target):
    canes, arms, rules = vine
    plan = spur_plan(canes, arms, target, rules)
    with_each = cheapest_plans(canes, arms, plan.total, rules).with_each(plan.total)
    for choice in plan.choices:
        if choice.role != CUT:
            continue
        least = with_each[choice.name]
        assert choice.dearer == (None if least is None else least - plan.points)
        assert choice.dearer is None or choice.dearer >= 0
        said = re.search(r"costs (\d+) points? more", choice.sentence)
        assert (int(said[1]) if said else None) == (choice.dearer or None)
        assert ("is as good" in choice.sentence) == (choice.dearer == 0)


@plans
@some
def test_a_cane_says_nothing_of_what_was_not_measured(vine, target):
    canes, arms, rules = vine
    plan = spur_plan(canes, arms, target, rules)
    for cane, choice in zip(canes, plan.choices, strict=True):
        assert cane.diameter_mm is not None or "mm thick" not in choice.sentence
        assert cane.angle_deg is not None or not re.search("upward|downward|sideways", choice.sentence)
        assert cane.creep_m is not None or "cordon" not in choice.sentence


@plans
@some
def test_the_points_of_a_cane_are_those_of_its_wood_and_length(vine, target):
    canes, arms, rules = vine
    plan = spur_plan(canes, arms, target, rules)
    for number, choice in enumerate(plan.choices):
        each = node_points([canes[number]], rules)
        expected = {term: int(points[0]) * choice.nodes for term, points in each.items()}
        renews = choice.role == RENEWAL_SPUR
        expected["length"] = 0 if choice.role == CUT else int(length_points(choice.nodes, rules, renews))
        assert choice.points == expected
    for term in ("wood", "angle", "nearness", "kind", "length"):
        assert sum(choice.points[term] for choice in plan.choices) == plan.by_term[term]


@plans
@some
def test_renewal_spurs_and_what_they_renew_name_each_other(vine, target):
    canes, arms, rules = vine
    plan = spur_plan(canes, arms, target, rules)
    by_name = {choice.name: choice for choice in plan.choices}
    for choice in plan.choices:
        if choice.role != RENEWAL_SPUR:
            continue
        renewed = re.findall(r"'([^']+)'", choice.sentence.partition("It renews")[2])
        assert renewed
        for name in renewed:
            assert f"'{choice.name}'" in by_name[name].sentence
