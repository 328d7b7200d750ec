"""Targets of a whole block at once: one computation over arrays, no object a vine."""

from __future__ import annotations

import uuid
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from balance.formulas.targets.node_targets import NodeTargets, node_targets
from balance.formulas.targets.retained_counts import judge_counts
from balance.models import Level, TargetStatus
from balance.resolution import Resolved, resolve_for_block
from balance.seasons_on_record import newest_season_of
from balance.standing import seasons_grown
from balance.targets import Bounds, node_formula
from balance.walking import Walked, walk
from records.access import OpenFarm
from records.models import Block, DormantRecord, PruningFormula


@dataclass(frozen=True)
class BlockTargets:
    """The targets of a block's vines with the verdicts on their counts, in walking order."""

    season: int | None
    walked: Walked
    formulas: list[Resolved]
    formula_of: NDArray[np.intp]
    targets: NodeTargets
    difference: NDArray[np.float64]
    tolerance: NDArray[np.float64]
    outcome: NDArray[np.str_]


def targets_of_block(
    opened: OpenFarm, block: Block, season: int | None, rows: int | range | None = None, *, whole: bool = False
) -> BlockTargets:
    """Compute the target of every vine of a block for one season, and judge the counts that were left.

    Raises
    ------
    NotValid
        The block has too many vines to be answered at once.
    """
    chosen = season if season is not None else newest_season(opened, block)
    walked = walk(opened, block, chosen, rows, whole=whole)
    default = resolve_for_block(opened.farm, block)
    formulas, formula_of = _formulas(default, walked)
    grown = seasons_grown(opened, block, walked.vines, chosen)
    targets, worth = _compute(walked, formulas, formula_of, Bounds.of(block), grown)
    difference, tolerance, outcome = judge_counts(walked.retained, targets.nodes, worth)
    return BlockTargets(chosen, walked, formulas, formula_of, targets, difference, tolerance, outcome)


def weights_of_block(opened: OpenFarm, block: Block, season: int | None) -> NDArray[np.float64]:
    """Give the weight of every vine of a block in walking order [kg]; NaN where it was not weighed."""
    return walk(opened, block, season, whole=True).weights_kg


def newest_season(opened: OpenFarm, block: Block) -> int | None:
    """Give the newest season in which a vine of the block has a dormant record."""
    records = DormantRecord.objects.for_farm(opened.farm).filter(block=block, withdrawn_at=None)
    return newest_season_of(records)


def _formulas(default: Resolved, walked: Walked) -> tuple[list[Resolved], NDArray[np.intp]]:
    """Give the formulas in use, the block's own first, and which of them each vine has."""
    formula_of = np.zeros(len(walked), dtype=np.intp)
    formulas = [default]
    own = walked.vines.formula_ids.any(axis=1)
    if not own.any():
        return formulas, formula_of
    named = np.unique(walked.vines.formula_ids[own], axis=0)
    rows = PruningFormula.objects.in_bulk([uuid.UUID(bytes=each.tobytes()) for each in named])
    for formula in sorted(rows.values(), key=lambda each: (each.code, each.formula_version)):
        of_this = np.frombuffer(formula.pk.bytes, dtype=np.uint8)
        formula_of[(walked.vines.formula_ids == of_this).all(axis=1)] = len(formulas)
        formulas.append(Resolved(formula, Level.VINE))
    return formulas, formula_of


def _compute(
    walked: Walked,
    formulas: list[Resolved],
    formula_of: NDArray[np.intp],
    bounds: Bounds,
    grown: NDArray[np.float64],
) -> tuple[NodeTargets, NDArray[np.float64]]:
    """Compute formula by formula and lay the parts back in walking order."""
    count = len(walked)
    units, unrounded, uncapped, nodes = (np.full(count, np.nan) for _ in range(4))
    whole = NodeTargets(units, unrounded, uncapped, nodes, np.full(count, TargetStatus.NO_FORMULA, dtype="<U20"))
    worth = np.full(count, np.nan)
    for index, resolved in enumerate(formulas):
        if resolved.formula is None:
            continue
        own = formula_of == index
        formula = node_formula(resolved.formula, bounds)
        part = node_targets(walked.weights_kg[own], formula, grown[own])
        for name in ("units", "unrounded", "uncapped", "nodes", "status"):
            getattr(whole, name)[own] = getattr(part, name)
        worth[own] = np.round(walked.resolutions_kg[own] / float(formula.unit_kg) * float(formula.further_nodes), 6)
    return whole, worth
