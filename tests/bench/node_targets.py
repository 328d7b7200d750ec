"""Targets of a million vines against the plain loop that somebody would write first."""

from __future__ import annotations

import math
from collections.abc import Iterator
from decimal import Decimal

import numpy as np

from balance.formulas.targets.node_targets import NodeFormula, node_targets
from tests.bench.pairs import Figure, Side, in_turn

VINES = 1_000_000
POUND = 0.45359237


def loop(weights_kg: list[float]) -> list[int | None]:
    """Compute A + B (w - 1) one vine after the other, with the same rounding and range."""
    nodes: list[int | None] = []
    for weight in weights_kg:
        units = round(weight / POUND, 6)
        nodes.append(math.ceil(round(30 + 10 * (units - 1), 6) - 0.5) if units >= 1 else None)
    return nodes


def figures() -> Iterator[Figure]:
    formula = NodeFormula(Decimal(30), Decimal(10), Decimal(1), "[lb_av]", Decimal("0.45359237"))
    weights = np.random.default_rng(1).uniform(0.2, 4, VINES)
    plain = weights.tolist()
    expected = loop(plain)
    ours = node_targets(weights, formula).nodes
    assert [None if math.isnan(each) else int(each) for each in ours.tolist()] == expected

    vectorised = Side(lambda: node_targets(weights, formula).nodes, lambda nodes: nodes.size == VINES)
    looped = Side(lambda: loop(plain), lambda nodes: len(nodes) == VINES)
    measured = in_turn(vectorised, looped, pairs=9)
    speed = 1 / measured.ratio
    note = f"{VINES:,} vines, {measured.ours_ms:.0f} ms against a loop's {measured.reference_ms:.0f} ms"
    yield Figure("node_targets", round(speed, 2), ">= 9 x the loop's speed", speed >= 9, note)
