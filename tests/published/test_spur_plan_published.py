"""Spur plans against what was printed: which counts make up a target, and what happens where the cordon has too few."""

from __future__ import annotations

from collections import Counter
from dataclasses import replace
from itertools import pairwise
from typing import Any

from balance.formulas.spur_plan.candidates import Arm, Candidate
from balance.formulas.spur_plan.plan import NEAREST, OK, spur_plan
from balance.formulas.spur_plan.rules import CANE_RULES, SPUR_RULES

SIDES = [Arm("left", 0.9), Arm("right", 0.9)]
FOUR_ARMS = [Arm(name, 0.9) for name in ("upper left", "upper right", "lower left", "lower right")]


def lengths(plan: Any) -> Counter[tuple[str, int]]:
    return Counter((choice.role, choice.nodes) for choice in plan.choices if choice.nodes)


def spurs(side: Arm, count: int, apart_m: float) -> list[Candidate]:
    return [Candidate(f"{side.name} {n}", side.name, apart_m * (n + 0.5), 6) for n in range(count)]


def test_twenty_two_bud_spurs_a_vine_make_forty_nodes_ten_a_side():
    """20+20 at 2 lb: 40 buds = 20 two-bud spurs = 10 a side: cooksplace.us, 2013 (READ*; trade.md 0, row 6)."""
    plan = spur_plan([cane for side in SIDES for cane in spurs(side, 10, 0.09)], SIDES, 40, SPUR_RULES)
    assert (plan.status, lengths(plan)) == (OK, {("spur", 2): 20})


def test_a_target_beyond_the_spur_positions_is_told_never_cut_silently():
    """The same page: spurs 5 to 6 in apart leave room for six or seven a side (trade.md 0, row 6; 13, row 7)."""
    canes = [cane for side in SIDES for cane in spurs(side, 6, 0.1524)]
    plan = spur_plan(canes, SIDES, 40, replace(SPUR_RULES, most=2))
    assert (plan.status, plan.target, plan.total) == (NEAREST, 40, 24)
    assert plan.reason is not None
    assert plan.reason.startswith("The vine cannot carry 40 nodes: the most that any plan keeps is 24")


def four_armed_vine() -> list[Candidate]:
    return [
        Candidate(f"{arm.name} {kind}", arm.name, at, 12, kind=kind, creep_m=0.0)
        for arm in FOUR_ARMS
        for kind, at in (("cane", 0.12), ("spur_position", 0.05))
    ]


def test_renewal_spurs_count_inside_the_total_four_canes_of_eight_and_four_spurs_of_two():
    """30+10 at 2 lb: 40, less 4 renewal spurs x 2 = 32, 32 / 4 canes = 8 each: gardenguides.com/100670 (READ*; row 7)."""
    plan = spur_plan(four_armed_vine(), FOUR_ARMS, 40, CANE_RULES)
    assert lengths(plan) == {("cane", 8): 4, ("renewal_spur", 2): 4}
    assert (plan.total, plan.outside) == (40, 0)
    assert Counter(choice.arm for choice in plan.choices if choice.nodes) == dict.fromkeys(
        (a.name for a in FOUR_ARMS), 2
    )


def test_with_renewal_spurs_outside_the_same_vine_is_planned_for_32():
    """Sources differ on whether they count (trade.md 13, row 8): inside unless asked otherwise."""
    plan = spur_plan(four_armed_vine(), FOUR_ARMS, 32, replace(CANE_RULES, renewal_inside=False))
    assert lengths(plan) == {("cane", 8): 4, ("renewal_spur", 2): 4}
    assert (plan.total, plan.outside) == (32, 8)


def test_four_canes_are_preferred_to_three_longer_ones():
    """30 to 35 nodes: four 8-node canes rather than three of 10: Zabadal 2002, MSU E-2774 (READ; trade.md 1a)."""
    canes = [Candidate(f"{side.name} {at}", side.name, at, 12) for side in SIDES for at in (0.05, 0.3)]
    for target in (30, 31, 32, 33, 34, 35):
        plan = spur_plan(canes, SIDES, target, replace(CANE_RULES, reach_mm=0))
        assert len(plan.kept) == 4


def test_fifty_nodes_are_five_canes_of_ten_or_ten_spurs_of_five():
    """30+10 at 3 lb: 50 buds, "ten 5-bud spurs or five 10-bud canes": Univ. Illinois Extension (READ; trade.md 0, row 2)."""
    one = [Arm("only", 2.0)]
    canes = [Candidate(str(n), "only", 0.2 * n + 0.1, 12) for n in range(5)]
    assert lengths(spur_plan(canes, one, 50, replace(CANE_RULES, reach_mm=0))) == {("cane", 10): 5}
    five_bud = replace(SPUR_RULES, most=5, preferred=5)
    assert lengths(spur_plan(spurs(one[0], 10, 0.2), one, 50, five_bud)) == {("spur", 5): 10}


def test_spurs_of_two_buds_stand_eight_to_twenty_centimetres_apart():
    """Two-bud spurs 3 to 8 in apart, 8 to 15 a cordon: NC State Extension Gardener, fig. 14-33 (READ; trade.md 7)."""
    arm = [Arm("cordon", 1.2)]
    canes = [Candidate(str(n), "cordon", 0.02 * n, 6) for n in range(1, 60)]
    for spurs_wanted in range(8, 16):
        kept = spur_plan(canes, arm, 2 * spurs_wanted, SPUR_RULES).kept
        assert [one.nodes for one in kept] == [2] * spurs_wanted
        places = [one.candidate.position_mm for one in kept]
        assert all(80 <= after - before <= 200 for before, after in pairwise(places))
