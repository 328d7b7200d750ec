"""The cheapest plan of a vine for every total of nodes, all found in one pass."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from balance.formulas.errors import OutOfRange
from balance.formulas.spur_plan.alternatives import with_each
from balance.formulas.spur_plan.candidates import Arm, Candidate, refuse_impossible
from balance.formulas.spur_plan.choices import Choices, choices_of
from balance.formulas.spur_plan.columns import Ways, together, ways_along
from balance.formulas.spur_plan.evaluation import Kept
from balance.formulas.spur_plan.points import NEVER, Points, arm_points
from balance.formulas.spur_plan.rules import Rules
from balance.formulas.spur_plan.tracing import shares_of, trace

MOST_CANDIDATES: Final = 200
MOST_ARMS: Final = 8
HIGHEST_TARGET: Final = 400


@dataclass(frozen=True)
class CheapestPlans:
    """The cheapest plans of a vine for every total at once.

    Attributes
    ----------
    points : tuple of (int or None)
        Element t: points of the cheapest plan with t counted nodes; None where no plan has so many.
    """

    points: tuple[int | None, ...]
    _rules: Rules
    _choices: Choices
    _ways: Ways
    _balance: Points
    _joined: Points

    def plan(self, total: int) -> tuple[Kept, ...]:
        """Give the cheapest plan of a total, arm by arm from the head outwards.

        Raises
        ------
        KeyError
            No plan has so many nodes.
        """
        if not 0 <= total < len(self.points) or self.points[total] is None:
            raise KeyError(total)
        choices = self._choices
        return tuple(
            Kept(choices.candidates[choices.cane[arm, option]], nodes, bool(choices.renews[arm, option]))
            for arm, share in enumerate(shares_of(total, self._joined, self._ways.arms + self._balance))
            for option, nodes in trace(choices, self._ways, arm, share)
        )

    def with_each(self, total: int) -> dict[str, int | None]:
        """Give by the name of each cane the points of the cheapest plan of a total that keeps it; None without one."""
        least = with_each(self._choices, self._ways, self._balance, total) - self._rules.weights.balance * total**2
        names = (cane.name for cane in self._choices.candidates)
        return {
            name: None if points >= NEVER // 2 else points for name, points in zip(names, least.tolist(), strict=True)
        }


def cheapest_plans(candidates: Sequence[Candidate], arms: Sequence[Arm], highest: int, rules: Rules) -> CheapestPlans:
    """Find the cheapest plan for every total from 0 to ``highest`` nodes in one pass.

    Parameters
    ----------
    candidates : sequence of Candidate
        The canes of one vine, at most 200, in any order.
    arms : sequence of Arm
        1 to 8 of them, in any order.
    highest : int
        The highest total asked for [nodes], 0 to 400 and the most nodes of one spur or cane.
    rules : Rules

    Returns
    -------
    CheapestPlans

    Raises
    ------
    OutOfRange, ValueError
        There is no such vine.

    Notes
    -----
    Each arm is a chain: what it costs to keep a cane depends on the kept one before it and no other; between arms
    there is only the balance, which falls into a part an arm.  So dynamic programming over (last kept, nodes so far),
    then over the arms, finds the least exactly (Bellman's principle).

    Examples
    --------
    >>> from balance.formulas.spur_plan.rules import SPUR_RULES
    >>> canes = [Candidate(str(at), "only", at / 100, 6) for at in (7, 21, 26, 35)]
    >>> plans = cheapest_plans(canes, [Arm("only", 0.42)], 6, SPUR_RULES)
    >>> [(kept.candidate.name, kept.nodes) for kept in plans.plan(6)]
    [('7', 2), ('21', 2), ('35', 2)]
    """
    _refuse_beyond("the number of canes", len(candidates), 0, MOST_CANDIDATES)
    _refuse_beyond("the number of arms", len(arms), 1, MOST_ARMS)
    _refuse_beyond("the highest total [nodes]", highest, 0, HIGHEST_TARGET + rules.most)
    refuse_impossible(candidates, arms)
    choices = choices_of(candidates, arms, rules)
    ways = ways_along(choices, highest)
    totals = np.arange(highest + 1)
    balance = arm_points(totals, choices.shares[:, None], rules)
    for number, arm in enumerate(choices.arms):
        if arm.most is not None:
            balance[number, arm.most + 1 :] = NEVER  # what an arm cannot carry is in no plan
    joined = together(ways.arms + balance)
    in_all = joined[-1] - rules.weights.balance * totals**2
    points = tuple(
        points if raw < NEVER else None for points, raw in zip(in_all.tolist(), joined[-1].tolist(), strict=True)
    )
    return CheapestPlans(points, rules, choices, ways, balance, joined)


def _refuse_beyond(quantity: str, value: int, low: int, high: int) -> None:
    if not low <= value <= high:
        raise OutOfRange(quantity, value, low, high)
