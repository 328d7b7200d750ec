"""What a plan costs, term by term, reckoned from the kept canes alone: by no search and no table."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from balance.formulas.spur_plan.candidates import Arm, Candidate, whole
from balance.formulas.spur_plan.points import NEVER, arm_points, gap_points, length_points, node_points
from balance.formulas.spur_plan.renewal import asks_for_renewal, may_renew
from balance.formulas.spur_plan.rules import BALANCE, LENGTH, RENEWAL, SPACING, Rules


@dataclass(frozen=True)
class Kept:
    """One cane that is kept: nodes on it, and whether it is a renewal spur."""

    candidate: Candidate
    nodes: int
    renews: bool


def counted_nodes(kept: Sequence[Kept], rules: Rules) -> int:
    """Give the nodes that count inside the total [nodes]."""
    return sum(each.nodes for each in kept if rules.renewal_inside or not each.renews)


def points_by_term(kept: Sequence[Kept], arms: Sequence[Arm], rules: Rules) -> dict[str, int]:
    """Give what a plan costs, by term [points].

    Parameters
    ----------
    kept : sequence of Kept
        In any order.
    arms : sequence of Arm
        All arms of the vine.
    rules : Rules

    Returns
    -------
    dict of str to int
        Of every term of ``TERMS``.  A renewal spur that renews nothing costs ``NEVER``.

    Examples
    --------
    >>> from balance.formulas.spur_plan.rules import SPUR_RULES
    >>> kept = [Kept(Candidate(str(at), "only", at / 100, 6, diameter_mm=7.9), 2, False) for at in (7, 21, 35)]
    >>> points_by_term(kept, [Arm("only", 0.42)], SPUR_RULES)["wood"]
    60
    """
    each = node_points([one.candidate for one in kept], rules)
    nodes = np.array([one.nodes for one in kept], dtype=np.int64)
    points = {term: int(a_node @ nodes) for term, a_node in each.items()}
    points |= dict.fromkeys((LENGTH, SPACING, RENEWAL, BALANCE), 0)
    points[LENGTH] = sum(int(length_points(one.nodes, rules, one.renews)) for one in kept)
    everything = sum(whole(arm.space_m, 1000) for arm in arms)
    for arm in arms:
        here = neighbours(kept, arm)
        space = whole(arm.space_m, 1000)
        points[SPACING] += sum(int(gap_points(gap, rules, linked)) for gap, linked in gaps(here, space, rules))
        points[RENEWAL] += _missing_renewal(here, rules)
        points[BALANCE] += int(arm_points(counted_nodes(here, rules), space / everything, rules))
    points[BALANCE] -= rules.weights.balance * counted_nodes(kept, rules) ** 2
    return points


def neighbours(kept: Sequence[Kept], arm: Arm) -> list[Kept]:
    """Give what is kept on an arm, from the head outwards."""
    return sorted((one for one in kept if one.candidate.arm == arm.name), key=lambda one: one.candidate.along)


def linked(one: Kept, other: Kept, rules: Rules) -> bool:
    """Tell whether one of two neighbours is the renewal spur that the other asks for."""
    if one.renews == other.renews:
        return False
    spur, asking = (one, other) if one.renews else (other, one)
    return asks_for_renewal(asking.candidate, rules) and may_renew(spur.candidate, asking.candidate, rules)


def gaps(here: Sequence[Kept], space_mm: int, rules: Rules) -> Iterator[tuple[int, bool]]:
    """Give every gap along an arm [mm], and whether a renewal spur is one side of it.

    The head and the halfway line are taken for the middle of a gap.
    """
    if not here:
        yield 2 * space_mm, False
        return
    yield 2 * here[0].candidate.position_mm, False
    for one, other in pairwise(here):
        yield other.candidate.position_mm - one.candidate.position_mm, linked(one, other, rules)
    yield 2 * (space_mm - here[-1].candidate.position_mm), False


def _missing_renewal(here: list[Kept], rules: Rules) -> int:
    points = 0
    for index, one in enumerate(here):
        beside = here[max(0, index - 1) : index] + here[index + 1 : index + 2]
        if any(linked(one, other, rules) for other in beside):
            continue
        if one.renews:
            points += NEVER
        elif asks_for_renewal(one.candidate, rules):
            points += rules.weights.renewal
    return points
