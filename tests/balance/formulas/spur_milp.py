"""The same choice as a mixed-integer program, for HiGHS: an oracle that shares the points and nothing of the search."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from scipy.optimize import Bounds, LinearConstraint, milp
from scipy.sparse import csc_array

from balance.formulas.spur_plan.choices import Choices, choices_of
from balance.formulas.spur_plan.points import NEVER, arm_points
from balance.formulas.spur_plan.rules import Rules


@dataclass
class Program:
    """A mixed-integer program under construction: variables with points, rows of equalities and bounds."""

    points: list[int] = field(default_factory=list)
    whole: list[int] = field(default_factory=list)
    at_most: list[float] = field(default_factory=list)
    low: list[float] = field(default_factory=list)
    high: list[float] = field(default_factory=list)
    entries: list[tuple[int, int, float]] = field(default_factory=list)

    def variable(self, points: int, *, whole: bool) -> int:
        self.points.append(points)
        self.whole.append(int(whole))
        self.at_most.append(1)
        return len(self.points) - 1

    def row(self, terms: Iterable[tuple[int, float]], low: float, high: float) -> None:
        self.entries += [(len(self.low), column, factor) for column, factor in terms]
        self.low.append(low)
        self.high.append(high)


def program_of(candidates: Any, arms: Any, total: int, rules: Rules) -> Program:
    """Give the program of one total.

    One binary for each gap between neighbours (a path from the head to the halfway line), one for each length; one
    variable for each missing link, which the gaps at hand force to 1; and, because its points are convex, one variable
    in 0..1 for each further node of an arm's balance.
    """
    program = Program()
    nodes: list[tuple[int, float]] = []
    choices = choices_of(candidates, arms, rules)
    for arm, share in enumerate(choices.shares):
        counted = _lengths_and_path(program, choices, arm)
        balance = arm_points(np.arange(total + 1), share, rules)
        steps = [program.variable(int(more), whole=False) for more in np.diff(balance)]
        program.row([*counted, *((step, -1) for step in steps)], 0, 0)
        nodes += counted
    program.row(nodes, total, total)
    return program


def _lengths_and_path(program: Program, choices: Choices, arm: int) -> list[tuple[int, float]]:
    n = int((choices.cane[arm] >= 0).sum())
    rows = [*range(n), -1]
    gaps, linked_pairs = (table[arm][: n + 1, rows] for table in (choices.gaps, choices.linked))
    gap = {
        (i, j): program.variable(int(gaps[i, j]), whole=True)
        for i in range(n + 1)
        for j in range(i, n + 1)
        if gaps[i, j] < NEVER
    }
    into: list[list[int]] = [[] for _ in range(n + 1)]
    out: list[list[int]] = [[] for _ in range(n + 1)]
    linked: list[list[int]] = [[] for _ in range(n)]
    for (i, j), variable in gap.items():
        into[j].append(variable)
        out[i].append(variable)
        if linked_pairs[i, j]:
            linked[j].append(variable)
            linked[i - 1].append(variable)
    program.row([(variable, 1) for variable in out[0]], 1, 1)
    program.row([(variable, 1) for variable in into[n]], 1, 1)
    counted: list[tuple[int, float]] = []
    for j in range(n):
        lengths = {
            k: program.variable(int(points), whole=True)
            for k, points in enumerate(choices.lengths[arm, j])
            if points < NEVER
        }
        kept = [(variable, -1.0) for variable in lengths.values()]
        program.row([*((variable, 1.0) for variable in into[j]), *kept], 0, 0)
        program.row([*((variable, 1.0) for variable in out[j + 1]), *kept], 0, 0)
        counted += [(variable, float(k)) for k, variable in lengths.items()]
        penalty = int(choices.unlinked[arm, j])
        if penalty:
            free = [] if penalty >= NEVER else [(program.variable(penalty, whole=False), -1.0)]
            program.row(
                [*((variable, 1.0) for variable in lengths.values()), *((one, -1.0) for one in linked[j]), *free],
                -np.inf,
                0,
            )
    return counted


def solved(program: Program) -> Any:
    """Let HiGHS find the least, with no gap allowed."""
    rows, columns, factors = zip(*program.entries, strict=True)
    matrix = csc_array((factors, (rows, columns)), shape=(len(program.low), len(program.points)))
    return milp(
        np.array(program.points, dtype=float),
        integrality=np.array(program.whole),
        bounds=Bounds(0, np.array(program.at_most)),
        constraints=LinearConstraint(matrix, np.array(program.low), np.array(program.high)),
        options={"mip_rel_gap": 0},
    )


def objective(program: Program, result: Any, total: int, rules: Rules) -> int:
    """Give the points of what HiGHS found, the balance's share of the total taken off."""
    chosen = np.where(program.whole, np.rint(result.x), result.x)
    return round(float(chosen @ np.array(program.points, dtype=float))) - rules.weights.balance * total * total


def least_points(candidates: Any, arms: Any, total: int, rules: Rules) -> int | None:
    """Give the points of the cheapest plan of a total by HiGHS; None where there is no plan."""
    program = program_of(candidates, arms, total, rules)
    result = solved(program)
    return None if result.x is None else objective(program, result, total, rules)
