"""The range that the crop load of each block is held against, of many blocks at once.

``balance.ranges: range_for`` asks of one block; here all are asked of with two queries, and a test holds both alike.
"""

from __future__ import annotations

import uuid
from collections.abc import Iterable, Sequence
from typing import Any, Final

from django.db.backends.base.base import BaseDatabaseWrapper

from balance.models import Level
from balance.ranges import AssignedRange, canopy_of
from balance.summaries.block_heads import BlockHead
from records.models import BalanceRange, Cultivar, CultivarGroup, Measure
from records.planned import ask, columns, made

_CHOSEN: Final = "SELECT farm_id, block_id, range_id FROM range_choice WHERE farm_id = ANY(%s) AND measure = %s"
#: The catalogue's ranges for the measure that hold unless another was chosen, as ``balance.ranges: default_ranges``.
_HOLDS: Final = "r.measure = %(measure)s AND r.is_default AND r.owner_farm_id IS NULL AND r.owner_program_id IS NULL"
#: Every summary asks for them, and Django would take as long to write this as all else of a summary takes.
_RANGES: Final = f"""
    SELECT {columns(BalanceRange, "r")}, c.name, g.name, {_HOLDS}
    FROM balance_range r
    LEFT JOIN cultivar c ON c.code = r.cultivar_id LEFT JOIN cultivar_group g ON g.code = r.group_id
    WHERE ({_HOLDS}) OR r.id = ANY(%(chosen)s)
"""  # noqa: S608 - joined from columns of the model
Place = tuple[uuid.UUID, uuid.UUID]


def crop_ranges_of(within: BaseDatabaseWrapper, heads: Sequence[BlockHead]) -> dict[Place, AssignedRange]:
    """Give, by farm and block, the range that is assigned; a block without one is left out."""
    measure = Measure.YIELD_TO_PRUNING_WEIGHT
    choices = ask(_CHOSEN, [sorted({head.farm_id for head in heads}), measure], using=within.alias)
    chosen = {(farm, block): range_id for farm, block, range_id in choices}
    read = ask(_RANGES, {"measure": measure, "chosen": list(set(chosen.values()))}, using=within.alias)
    rows = [(_named(*row), holds) for *row, holds in read]
    by_id = {row.pk: row for row, _ in rows}
    holding = [row for row, holds in rows if holds]
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


def _named(*row: Any) -> BalanceRange:
    """Make a range that knows the names of its cultivar and group without asking for each."""
    *own, cultivar, group = row
    found = made(BalanceRange, own)
    found.cultivar = Cultivar(pk=found.cultivar_id, name=cultivar) if cultivar else None
    found.group = CultivarGroup(pk=found.group_id, name=group) if group else None
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
