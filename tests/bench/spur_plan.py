"""Spur plans of 60 canes against HiGHS, a general solver of mixed-integer programs, on the same points."""

from __future__ import annotations

import random
import statistics
import time
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from typing import Any

from balance.formulas.spur_plan.evaluation import Kept, counted_nodes, points_by_term
from balance.formulas.spur_plan.rules import CANE_RULES, SPUR_RULES
from balance.formulas.spur_plan.totals import cheapest_plans
from tests.balance.formulas.spur_milp import Program, objective, program_of, solved
from tests.balance.formulas.spur_vines import Vine, grown
from tests.bench.pairs import Figure, Side, in_turn

CANES = 60
ROUNDS = 10  # the first does not count for the ratio, but its plans are compared too
VINES_A_ROUND = 20
#: One arm or two, spur or cane pruned: five vines of each in every round.
KINDS = [(arms, rules) for arms in (1, 2) for rules in (SPUR_RULES, CANE_RULES)]


@dataclass
class Trial:
    """One vine and its target, the program of it for HiGHS, and what either side found and took [s]."""

    kind: str
    vine: Vine
    target: int
    program: Program
    kept: Sequence[Kept] = ()
    result: Any = None
    points: dict[str, int] = field(default_factory=dict)
    times: dict[str, float] = field(default_factory=dict)


def trials() -> list[Trial]:
    """Grow 200 vines; a target that no plan has is another vine's, so that both sides have something to find."""
    chance = random.Random(2027)
    found: list[Trial] = []
    while len(found) < ROUNDS * VINES_A_ROUND:
        arms, rules = KINDS[len(found) % len(KINDS)]
        vine, target = grown(chance, CANES, arms, rules)
        if cheapest_plans(*vine[:2], target, rules).points[target] is not None:
            kind = f"{rules.form}, {arms} arm{'s' if arms > 1 else ''}"
            found.append(Trial(kind, vine, target, program_of(*vine[:2], target, rules)))
    return found


def _ours(group: list[Trial]) -> list[Trial]:
    for trial in group:
        canes, arms, rules = trial.vine
        began = time.perf_counter()
        trial.kept = cheapest_plans(canes, arms, trial.target, rules).plan(trial.target)
        trial.times["ours"] = time.perf_counter() - began
    return group


def _theirs(group: list[Trial]) -> list[Trial]:
    for trial in group:
        began = time.perf_counter()
        trial.result = solved(trial.program)
        trial.times["theirs"] = time.perf_counter() - began
    return group


def _plans_hold(group: list[Trial]) -> bool:
    """Reckon our plans from the kept canes alone."""
    for trial in group:
        _, arms, rules = trial.vine
        trial.points["ours"] = sum(points_by_term(trial.kept, arms, rules).values())
    return all(counted_nodes(trial.kept, trial.vine[2]) == trial.target for trial in group)


def _no_gap(group: list[Trial]) -> bool:
    for trial in group:
        trial.points["theirs"] = objective(trial.program, trial.result, trial.target, trial.vine[2])
    return all(trial.points["ours"] == trial.points["theirs"] for trial in group)


def figures() -> Iterator[Figure]:
    everything = trials()
    groups = [everything[start : start + VINES_A_ROUND] for start in range(0, len(everything), VINES_A_ROUND)]
    first, second = iter(groups), iter(groups)
    measured = in_turn(
        Side(lambda: _ours(next(first)), _plans_hold), Side(lambda: _theirs(next(second)), _no_gap), pairs=ROUNDS - 1
    )
    gaps = [trial.points["ours"] - trial.points["theirs"] for trial in everything]
    assert not any(gaps)
    speed = 1 / measured.ratio
    kinds = sorted({trial.kind for trial in everything})
    by_kind = ", ".join(f"{kind}: {_speed([one for one in everything if one.kind == kind]):.0f} x" for kind in kinds)
    note = (
        f"{len(gaps)} vines of {CANES} canes, gap 0 on all; {measured.ours_ms / VINES_A_ROUND:.2f} ms a plan with every "
        f"lower total against {measured.reference_ms / VINES_A_ROUND:.0f} ms for one total; {by_kind}"
    )
    yield Figure("spur_plan", round(speed, 1), ">= 150 x the speed of HiGHS", speed >= 150, note)


def _speed(some: list[Trial]) -> float:
    return statistics.median(trial.times["theirs"] / trial.times["ours"] for trial in some)
