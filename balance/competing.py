"""The formulas that compete for one cultivar, side by side: the farm chooses, and nobody averages them."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from django.db.models import Q

from balance.formulas.targets.node_targets import BELOW, OK, YOUNG, node_targets
from balance.resolution import resolve_for_block
from balance.samples.sampling import Frame
from balance.standing import seasons_grown
from balance.targets import Bounds, node_formula
from records.access import OpenFarm
from records.models import Block, Cultivar, CultivarGroup, PruningFormula

#: More formulas than this for one cultivar are not laid side by side.
MOST_FORMULAS = 50


def competing_formulas(cultivar: Cultivar | None, group: CultivarGroup | None) -> list[PruningFormula]:
    """Give the newest version of every formula for a cultivar or its group, and of the caller's own for any cultivar.

    Row-level security keeps other farms' own formulas out.
    """
    group_code = cultivar.group_id if cultivar is not None else (group.pk if group else None)
    holds = Q(cultivar=cultivar) if cultivar is not None else Q(pk=None)
    if group_code is not None:
        holds |= Q(group=group_code, cultivar=None)
    own = Q(cultivar=None, group=None) & (Q(owner_farm__isnull=False) | Q(owner_program__isnull=False))
    newest = PruningFormula.objects.filter(holds | own).order_by("code", "-formula_version").distinct("code")
    return sorted(newest[:MOST_FORMULAS], key=lambda each: (not each.is_default, each.cultivar_id is None, each.code))


@dataclass(frozen=True)
class ForABlock:
    """What one formula would ask of a block; the sums are over the vines for which it has a number."""

    formula: PruningFormula
    chosen: bool
    with_target: int
    below_range: int
    young: int
    other: int
    mean: float | None
    fewest: int | None
    most: int | None
    total: int | None


def competing_for(opened: OpenFarm, block: Block, frame: Frame) -> Iterator[ForABlock]:
    """Compute the targets of all vines that were weighed by each formula."""
    chosen = resolve_for_block(opened.farm, block).formula
    formulas = competing_formulas(block.cultivar, block.cultivar_group)
    if chosen is not None and chosen not in formulas:
        formulas.insert(0, chosen)
    weighed = ~np.isnan(frame.walked.weights_kg)
    weights = frame.walked.weights_kg[weighed]
    grown = seasons_grown(opened, block, frame.walked.vines, frame.season)[weighed]
    for formula in formulas:
        told = node_targets(weights, node_formula(formula, Bounds.of(block)), grown)
        counts = {status: int(np.count_nonzero(told.status == status)) for status in (OK, BELOW, YOUNG)}
        nodes = told.nodes[told.status == OK]
        yield ForABlock(
            formula=formula,
            chosen=formula == chosen,
            with_target=counts[OK],
            below_range=counts[BELOW],
            young=counts[YOUNG],
            other=len(weights) - sum(counts.values()),
            mean=float(nodes.mean()) if nodes.size else None,
            fewest=int(nodes.min()) if nodes.size else None,
            most=int(nodes.max()) if nodes.size else None,
            total=int(nodes.sum()) if nodes.size else None,
        )
