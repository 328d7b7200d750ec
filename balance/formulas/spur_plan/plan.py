"""The plan of one vine: nodes to keep on each cane, why, what it costs, and the optimum of every other total."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final

from balance.formulas.counting import counted
from balance.formulas.errors import OutOfRange
from balance.formulas.methods import Working
from balance.formulas.spur_plan.candidates import Arm, Candidate, whole
from balance.formulas.spur_plan.evaluation import Kept, counted_nodes, points_by_term
from balance.formulas.spur_plan.reasons import Choice, choice_of, situation_of
from balance.formulas.spur_plan.rules import TERMS, Rules
from balance.formulas.spur_plan.totals import HIGHEST_TARGET, CheapestPlans, cheapest_plans

OK: Final = "ok"
NEAREST: Final = "nearest"


@dataclass(frozen=True)
class SpurPlan:
    """The plan of one vine.

    Attributes
    ----------
    target, total : int
        Asked for, and counted in the plan [nodes].
    status, reason : str, str or None
        ``ok``; or ``nearest`` where no plan has the target exactly, with the reason.
    kept : tuple of Kept
        Arm by arm, from the head outwards.
    choices : tuple of Choice
        One a candidate, in the order sent: kept or cut, and why.
    points : int
        Of this plan, the least of all plans of the total.
    by_term : dict of str to int
        The same, term by term.
    every_total : tuple of (int or None)
        Element t: points of the cheapest plan of t nodes, 0 to the target; None where no plan has so many.
    outside : int
        Nodes of renewal spurs beside the total [nodes]; 0 where they count inside it.
    """

    target: int
    total: int
    status: str
    reason: str | None
    kept: tuple[Kept, ...]
    choices: tuple[Choice, ...]
    points: int
    by_term: Mapping[str, int]
    every_total: tuple[int | None, ...]
    outside: int


def spur_plan(candidates: Sequence[Candidate], arms: Sequence[Arm], target: int, rules: Rules) -> SpurPlan:
    """Choose the nodes to keep on each cane of a vine.

    Parameters
    ----------
    candidates : sequence of Candidate
        The canes among which to choose, at most 200, in any order.
    arms : sequence of Arm
        1 to 8 of them, in any order.
    target : int
        Count nodes to keep [nodes], 0 to 400.
    rules : Rules

    Returns
    -------
    SpurPlan
        Of the target; where no plan has it, of the nearest total, of two equally near the lower, with the reason.

    Raises
    ------
    OutOfRange, ValueError
        There is no such vine, or no such target.

    Notes
    -----
    The objective is ours (common practice, no source); the terms and their sources are ``TERMS``.  The plan is
    exactly the cheapest by it.

    Examples
    --------
    >>> from balance.formulas.spur_plan.rules import SPUR_RULES
    >>> canes = [Candidate("thick", "only", 0.2, 6, diameter_mm=9), Candidate("thin", "only", 0.22, 6, diameter_mm=5)]
    >>> plan = spur_plan(canes, [Arm("only", 0.4)], 2, SPUR_RULES)
    >>> [(choice.name, choice.nodes) for choice in plan.choices]
    [('thick', 2), ('thin', 0)]
    >>> print(plan.choices[1].sentence)
    Cut: 5 mm thick, thinner than 6.35 mm; 20 mm from the next one kept. The best plan of 2 nodes that keeps it costs \
1062 points more.
    >>> spur_plan(canes, [Arm("only", 0.4)], 9, SPUR_RULES).total
    6
    """
    if not 0 <= target <= HIGHEST_TARGET:
        raise OutOfRange("the target [nodes]", target, 0, HIGHEST_TARGET)
    plans = cheapest_plans(candidates, arms, target, rules)
    total = target
    if plans.points[target] is None:
        plans = cheapest_plans(candidates, arms, target + rules.most, rules)
        total = _nearest(plans, target)
    kept = plans.plan(total)
    points = plans.points[total] or 0
    spaces = {arm.name: whole(arm.space_m, 1000) for arm in arms}
    situation = situation_of(kept, spaces, plans.with_each(total), points, total)
    return SpurPlan(
        target=target,
        total=total,
        status=OK if total == target else NEAREST,
        reason=None if total == target else _reason(target, total, plans, rules),
        kept=kept,
        choices=tuple(choice_of(each, situation, rules) for each in candidates),
        points=points,
        by_term=points_by_term(kept, arms, rules),
        every_total=plans.points[: target + 1],
        outside=sum(each.nodes for each in kept) - counted_nodes(kept, rules),
    )


def _nearest(plans: CheapestPlans, target: int) -> int:
    """Give the nearest total that has a plan; of two, the lower.

    A total beyond the target by more than one spur or cane need not be looked at: without one of its spurs or canes it
    would still be a plan, and nearer.
    """
    possible = [total for total, points in enumerate(plans.points) if points is not None]
    return min(possible, key=lambda total: (abs(total - target), total))


def _reason(target: int, total: int, plans: CheapestPlans, rules: Rules) -> str:
    if total < target and not any(points is not None for points in plans.points[target:]):
        wanted, longest = counted(target, "node"), counted(rules.most, "node")
        return (
            f"The vine cannot carry {wanted}: the most that any plan keeps is {total}, with every cane that stands "
            f"within the vine's own space as long as it may be ({longest} at most). Look at the target, at missing "
            "spur positions and at the limits."
        )
    return (
        f"No choice among a {rules.form} of {rules.fewest} to {rules.most} nodes on each cane, and the renewal spurs "
        f"that they ask for, comes to exactly {counted(target, 'node')}. The nearest total that a plan has is {total}."
    )


def workings(plan: SpurPlan) -> list[Working]:
    """Give the steps: the points of every term, and their sum."""
    terms = [
        Working(
            term.label,
            f"{term.asks_for} ({term.source}; {term.mark}.)",
            f"{term.code} = {plan.by_term[term.code]}",
            plan.by_term[term.code],
            "1",
        )
        for term in TERMS
    ]
    added = " + ".join(str(plan.by_term[term.code]) for term in TERMS)
    return [
        *terms,
        Working(
            "sum",
            f"Together {counted(str(plan.points), 'point')}: no other plan of {counted(plan.total, 'node')} has fewer.",
            f"{added} = {plan.points}",
            plan.points,
            "1",
        ),
    ]
