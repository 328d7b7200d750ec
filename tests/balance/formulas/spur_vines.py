"""Vines of chance for the spur plan, and every plan of a small one."""

from __future__ import annotations

import random
from collections.abc import Iterator, Sequence
from dataclasses import replace
from itertools import product

from hypothesis import strategies as st

from balance.formulas.spur_plan.candidates import KINDS, Arm, Candidate, whole
from balance.formulas.spur_plan.evaluation import Kept
from balance.formulas.spur_plan.renewal import most_nodes
from balance.formulas.spur_plan.rules import CANE_RULES, SPUR_RULES, Rules

Vine = tuple[list[Candidate], list[Arm], Rules]

#: Canes short enough that every plan of a small vine can be looked at.
SHORT_CANES = replace(CANE_RULES, fewest=3, most=4, preferred=4)


def _maybe(values: st.SearchStrategy[float]) -> st.SearchStrategy[float | None]:
    return st.none() | values


@st.composite
def vines(draw: st.DrawFn, *, most: int = 5, forms: Sequence[Rules] = (SPUR_RULES, SHORT_CANES)) -> Vine:
    """Draw a vine: up to three arms and some canes, close together, some beyond the halfway line."""
    arms = [Arm(f"arm {number}", draw(st.sampled_from([0.3, 0.5, 0.8]))) for number in range(draw(st.integers(1, 3)))]
    canes = [
        Candidate(
            name=f"cane {number}",
            arm=draw(st.sampled_from(arms)).name,
            position_m=draw(st.integers(0, 55)) / 100,
            nodes=draw(st.integers(0, 6)),
            diameter_mm=draw(_maybe(st.integers(40, 120).map(lambda tenths: tenths / 10))),
            angle_deg=draw(_maybe(st.integers(-90, 90).map(float))),
            creep_m=draw(_maybe(st.sampled_from([0.0, 0.03, 0.1, 0.101, 0.2]))),
            kind=draw(st.sampled_from(KINDS)),
        )
        for number in range(draw(st.integers(0, most)))
    ]
    rules = replace(draw(st.sampled_from(forms)), renewal_inside=draw(st.booleans()))
    return canes, arms, replace(rules, internode_m=draw(st.sampled_from([None, 0.09])))


def every_plan(vine: Vine) -> Iterator[list[Kept]]:
    """Give every way to keep canes that the limits allow; a renewal spur may be kept for nothing, and costs for it."""
    canes, arms, rules = vine
    spaces = {arm.name: whole(arm.space_m, 1000) for arm in arms}
    ways: list[list[Kept | None]] = []
    for cane in canes:
        bears = [
            Kept(cane, nodes, False) for nodes in range(rules.fewest, most_nodes(cane, spaces[cane.arm], rules) + 1)
        ]
        short = min(cane.nodes, rules.renewal_most) if cane.position_mm <= spaces[cane.arm] else 0
        ways.append([None, *bears, *(Kept(cane, nodes, True) for nodes in range(rules.renewal_fewest, short + 1))])
    for chosen in product(*ways):
        yield [kept for kept in chosen if kept is not None]


def grown(chance: random.Random, canes: int, arms: int, rules: Rules) -> tuple[Vine, int]:
    """Grow a vine of some size over 2.4 m, and choose a target between half a node and one node a cane."""
    space = 2.4 / arms
    sides = [Arm(f"arm {number}", space) for number in range(arms)]
    vine = [
        Candidate(
            name=str(number),
            arm=chance.choice(sides).name,
            position_m=round(chance.uniform(0.02, space), 3),
            nodes=chance.randrange(2, 14),
            diameter_mm=round(min(14, max(4, chance.gauss(7.6, 1.6))), 1),
            angle_deg=chance.randrange(-60, 90),
            creep_m=round(chance.expovariate(1 / 0.03), 3),
            kind=chance.choices(KINDS, (8, 1, 1))[0],
        )
        for number in range(canes)
    ]
    return (vine, sides, rules), chance.randrange(canes // 2, canes + 1)
