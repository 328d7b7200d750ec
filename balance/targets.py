"""From a weighing to the target that is told: resolve the formula, compute, keep what was told, judge the count."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal

from balance import advice
from balance.formulas.node_targets import (
    NodeFormula,
    NodeTarget,
    Step,
    explain,
    node_target,
    nodes_worth_of,
)
from balance.formulas.retained_counts import Verdict, judge_count
from balance.models import PruningTarget, TargetStatus
from balance.resolution import Resolved, resolve_for_vine
from records.models import Block, DormantRecord, Farm, PruningFormula, Vine
from records.units import Quantity, to_canonical


@dataclass(frozen=True)
class Weight:
    """The prunings of one vine: as sent, and exactly in kilograms."""

    sent: Quantity
    kg: Decimal


@dataclass(frozen=True)
class Answer:
    """A target as it is told: the number or the reason why there is none, and all that led to it."""

    status: str
    resolved: Resolved
    weight: Weight | None
    target: NodeTarget | None
    steps: list[Step]
    scale_worth: tuple[float, int] | None
    reason: str | None


def node_formula(formula: PruningFormula, *, farm_maximum: int | None = None) -> NodeFormula:
    """Give a catalogue row as the numbers that the formulas take; the lower of two caps holds."""
    caps = [cap for cap in (formula.maximum_nodes, farm_maximum) if cap is not None]
    return NodeFormula(
        first_nodes=formula.first_nodes,
        further_nodes=formula.further_nodes,
        unit_value=formula.weight_unit_value,
        unit=formula.weight_unit,
        unit_kg=formula.weight_unit_kg,
        minimum_nodes=formula.minimum_nodes,
        maximum_nodes=min(caps) if caps else None,
    )
