"""Targets of a whole block at once: one query, one computation over arrays, no object a vine.

The database hands over each column packed into one value, which numpy reads in place.  On 10,000 vines this
costs less than fetching the rows (``tests/bench``).
"""

from __future__ import annotations

import uuid
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
from django.db import connection
from numpy.typing import NDArray

from balance.formulas.node_targets import NodeTargets, node_targets
from balance.formulas.retained_counts import judge_counts
from balance.models import Level, TargetStatus
from balance.resolution import Resolved, resolve_for_block
from balance.targets import node_formula
from records.access import OpenFarm
from records.errors import NotValid
from records.models import Block, DormantRecord, PruningFormula, Vine

#: More vines than this are asked for row by row.
MOST_VINES: Final = 20_000
_SQL: Final = """
    SELECT string_agg(uuid_send(vine), ''), string_agg(uuid_send(record), ''),
           CASE WHEN bool_or(label <> '') THEN string_agg(to_json(label)::text, E'\\n') END,
           bool_or(own_formula), string_agg(int2send(row_number), ''), string_agg(int2send(place), ''),
           string_agg(float8send(weight), ''), string_agg(float8send(resolution), ''),
           string_agg(int2send(retained), '')
    FROM (
        SELECT v.id AS vine, coalesce(d.id, '00000000-0000-0000-0000-000000000000') AS record, v.label,
               v.pruning_formula_id IS NOT NULL AS own_formula, v.row_number, v.place,
               coalesce(d.pruning_weight_kg::float8, 'NaN') AS weight,
               coalesce(d.scale_resolution_kg::float8, 'NaN') AS resolution,
               coalesce(d.nodes_retained, -1)::int2 AS retained
        FROM vine v LEFT JOIN dormant_record d
             ON d.farm_id = v.farm_id AND d.block_id = v.block_id AND d.vine_id = v.id AND d.season = %s
        WHERE v.farm_id = %s AND v.block_id = %s AND (%s::int IS NULL OR v.row_number = %s)
        ORDER BY v.row_number, v.place
    ) AS walked
"""


@dataclass(frozen=True)
class Walked:
    """The vines of a block in walking order, column by column; NaN where nothing was measured.

    ``vines`` and ``records`` are ids of 16 bytes each, all zero where there is no record; ``labels`` are JSON
    texts, or None where no vine has a label.
    """

    vines: bytes
    records: bytes
    labels: list[str] | None
    has_own_formulas: bool
    row_numbers: NDArray[np.int16]
    places: NDArray[np.int16]
    weights_kg: NDArray[np.float64]
    resolutions_kg: NDArray[np.float64]
    retained: NDArray[np.float64]

    def __len__(self) -> int:
        return int(self.weights_kg.size)


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


def targets_of_block(opened: OpenFarm, block: Block, season: int | None, row_number: int | None = None) -> BlockTargets:
    """Compute the target of every vine of a block for one season, and judge the counts that were left.

    Raises
    ------
    NotValid
        The block has too many vines to be answered at once.
    """
    chosen = season if season is not None else newest_season(opened, block)
    walked = _walk(opened, block, chosen, row_number)
    default = resolve_for_block(opened.farm, block)
    formulas, formula_of = _formulas(opened, block, row_number, default, walked)
    targets, worth = _compute(walked, formulas, formula_of, block.maximum_nodes)
    difference, tolerance, outcome = judge_counts(walked.retained, targets.nodes, worth)
    return BlockTargets(chosen, walked, formulas, formula_of, targets, difference, tolerance, outcome)


def weights_of_block(opened: OpenFarm, block: Block, season: int | None) -> NDArray[np.float64]:
    """Give the weight of every vine of a block in walking order [kg]; NaN where it was not weighed."""
    return _walk(opened, block, season, None).weights_kg


def newest_season(opened: OpenFarm, block: Block) -> int | None:
    """Give the newest season in which a vine of the block has a dormant record."""
    records = DormantRecord.objects.for_farm(opened.farm).filter(block=block)
    season: int | None = records.order_by("-season").values_list("season", flat=True).first()
    return season


def _walk(opened: OpenFarm, block: Block, season: int | None, row_number: int | None) -> Walked:
    with connection.cursor() as cursor:
        # Just after an import the planner believes the block to be empty and would look up each vine among all
        # records of the season: minutes for 10,000 vines. A block is always joined as a whole.
        cursor.execute("SET LOCAL enable_nestloop = off")
        cursor.execute(_SQL, [season, opened.farm.pk, block.pk, row_number, row_number])
        row = cursor.fetchone()
        cursor.execute("SET LOCAL enable_nestloop = on")
    walked = _unpacked(row)
    if len(walked) > MOST_VINES:
        raise NotValid.at(
            "row_number",
            code="too_many_vines",
            detail=f"The block has {len(walked):,} vines; at most {MOST_VINES:,} are answered at once. Ask by row.",
        )
    return walked


def _unpacked(row: tuple[Any, ...]) -> Walked:
    vines, records, labels, has_own_formulas, *packed = row
    row_numbers, places, weights, resolutions, counted = (
        np.frombuffer(column or b"", dtype=kind).astype(kind[1:])
        for column, kind in zip(packed, (">i2", ">i2", ">f8", ">f8", ">i2"), strict=True)
    )
    return Walked(
        vines or b"",
        records or b"",
        labels and labels.split("\n"),
        bool(has_own_formulas),
        row_numbers,
        places,
        weights,
        resolutions,
        np.where(counted < 0, np.nan, counted),  # -1 is how the query says "not counted"
    )


def _formulas(
    opened: OpenFarm, block: Block, row_number: int | None, default: Resolved, walked: Walked
) -> tuple[list[Resolved], NDArray[np.intp]]:
    """Give the formulas in use, the block's own first, and which of them each vine has."""
    formula_of = np.zeros(len(walked), dtype=np.intp)
    formulas = [default]
    if not walked.has_own_formulas:
        return formulas, formula_of
    vines = Vine.objects.for_farm(opened.farm).filter(block=block)
    if row_number is not None:
        vines = vines.filter(row_number=row_number)
    named: list[uuid.UUID | None] = list(
        vines.order_by("row_number", "place").values_list("pruning_formula", flat=True)
    )
    own = PruningFormula.objects.in_bulk([each for each in set(named) if each is not None])
    for formula in sorted(own.values(), key=lambda each: (each.code, each.formula_version)):
        formula_of[[each == formula.pk for each in named]] = len(formulas)
        formulas.append(Resolved(formula, Level.VINE))
    return formulas, formula_of


def _compute(
    walked: Walked, formulas: list[Resolved], formula_of: NDArray[np.intp], farm_maximum: int | None
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
        formula = node_formula(resolved.formula, farm_maximum)
        part = node_targets(walked.weights_kg[own], formula)
        for name in ("units", "unrounded", "uncapped", "nodes", "status"):
            getattr(whole, name)[own] = getattr(part, name)
        worth[own] = np.round(walked.resolutions_kg[own] / float(formula.unit_kg) * float(formula.further_nodes), 6)
    return whole, worth
