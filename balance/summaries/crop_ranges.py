"""The range that the crop load of each block is held against, of many blocks at once.

``balance.ranges: range_for`` asks of one block; here all are asked of with two queries, and a test holds both alike.
"""

from __future__ import annotations

import uuid
from collections.abc import Iterable, Sequence
from typing import Final

from django.db.backends.base.base import BaseDatabaseWrapper
from django.db.models import Q

from balance.models import Level
from balance.ranges import AssignedRange, canopy_of, default_ranges
from balance.summaries.block_heads import BlockHead
from records.models import BalanceRange, Measure

_CHOSEN: Final = "SELECT farm_id, block_id, range_id FROM range_choice WHERE farm_id = ANY(%s) AND measure = %s"
Place = tuple[uuid.UUID, uuid.UUID]


def crop_ranges_of(within: BaseDatabaseWrapper, heads: Sequence[BlockHead]) -> dict[Place, AssignedRange]:
    """Give, by farm and block, the range that is assigned; a block without one is left out."""
    measure = Measure.YIELD_TO_PRUNING_WEIGHT
    with within.cursor() as cursor:
        cursor.execute(_CHOSEN, [sorted({head.farm_id for head in heads}), measure])
        chosen = {(farm, block): range_id for farm, block, range_id in cursor.fetchall()}
    defaults = Q(pk__in=default_ranges(measure).values("pk"))
    named = BalanceRange.objects.using(within.alias).select_related("cultivar", "group")
    rows = list(named.filter(defaults | Q(pk__in=set(chosen.values()))))
    by_id = {row.pk: row for row in rows}
    holding = [
        row
        for row in rows
        if row.is_default and row.measure == measure and row.owner_farm_id is None and row.owner_program_id is None
    ]
    found = {}
    for head in heads:
        own, of_farm = chosen.get((head.farm_id, head.id)), chosen.get((head.farm_id, None))
        assigned: AssignedRange | None
        if own in by_id:
            assigned = AssignedRange(by_id[own], Level.BLOCK)
        elif of_farm in by_id:
            assigned = AssignedRange(by_id[of_farm], Level.FARM)
        else:
            assigned = _of_catalogue(holding, head)
        if assigned is not None:
            found[head.farm_id, head.id] = assigned
    return found


def _of_catalogue(ranges: Iterable[BalanceRange], head: BlockHead) -> AssignedRange | None:
    """Give the most particular range that holds for the block: for its cultivar, else for its group."""
    canopy = canopy_of(head)
    holding = [row for row in ranges if row.use in {"", head.use} and row.canopy in {"", canopy}]
    levels = (
        (Level.CULTIVAR, [row for row in holding if head.cultivar and row.cultivar_id == head.cultivar]),
        (Level.GROUP, [row for row in holding if head.group and row.group_id == head.group and not row.cultivar_id]),
    )
    for level, rows in levels:
        if rows:
            return AssignedRange(min(rows, key=_most_particular), level)
    return None


def _most_particular(row: BalanceRange) -> tuple[bool, bool, int, str]:
    return row.use == "", row.canopy == "", -row.range_version, row.code
