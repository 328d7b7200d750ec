"""Which range a figure of a block is held against: the nearest level that names one; none, no verdict."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from decimal import Decimal
from typing import Any, Protocol

from django.db.models import Case, IntegerField, Q, QuerySet, Value, When

from balance.formulas.ranges import Range, judge
from balance.models import Level
from records.access import OpenFarm
from records.models import BalanceRange, Block, Cultivar, CultivarGroup, RangeChoice
from records.models.ranges import Canopy
from records.models.vineyards import Training


@dataclass(frozen=True)
class AssignedRange:
    """A range and the level that named it."""

    range: BalanceRange
    level: str

    def shown(self) -> dict[str, Any]:
        """Give the members that answers show of it."""
        row = self.range
        return {
            "code": row.code,
            "version": row.range_version,
            "low": _number(row.low),
            "high": _number(row.high),
            "unit": row.unit,
            "applies_to": _applies_to(row),
            "level": self.level,
            "source": row.source,
            "mark": row.source_mark,
            "note": row.note,
        }


def verdict_on(value: float | None, assigned: AssignedRange | None) -> str | None:
    """Hold a figure against the range that is assigned, if one is; see ``balance.formulas.ranges.judge``."""
    row = assigned.range if assigned else None
    return judge(value, Range(_number(row.low), _number(row.high), row.unit) if row else None)


def _number(limit: Decimal | None) -> float | None:
    return None if limit is None else float(limit)


def _applies_to(row: BalanceRange) -> str:
    who = row.cultivar.name if row.cultivar else row.group.name if row.group else "any cultivar"
    return ", ".join(filter(None, (who, row.use, f"{row.canopy} canopy" if row.canopy else "", row.region)))


def range_for(opened: OpenFarm, block: Block, measure: str) -> AssignedRange | None:
    """Give the range for one measure of a block: chosen for the block, for the farm, then by cultivar, by group."""
    chosen = RangeChoice.objects.for_farm(opened.farm).filter(Q(block=block) | Q(block=None), measure=measure)
    # No block comes last.
    nearest = chosen.select_related("range__cultivar", "range__group").order_by("block_id").first()
    if nearest is not None:
        return AssignedRange(nearest.range, Level.FARM if nearest.block_id is None else Level.BLOCK)
    return range_of_cultivar(block.cultivar, block.cultivar_group, measure, block.use, canopy_of(block))


def range_of_cultivar(
    cultivar: Cultivar | None, group: CultivarGroup | None, measure: str, use: str = "", canopy: str = ""
) -> AssignedRange | None:
    """Give the catalogue's range for a cultivar, else for its group; of those that hold, the most particular one.

    A range for one use, or for one form of canopy, holds only where that is said.
    """
    holding = default_ranges(measure).filter(use__in=["", use], canopy__in=["", canopy])
    return next(_most_particular(holding, cultivar, group), None)


def default_ranges(measure: str) -> QuerySet[BalanceRange]:
    """Give the catalogue's ranges for a measure that hold unless another was chosen."""
    ranges = BalanceRange.objects.select_related("cultivar", "group")
    return ranges.filter(measure=measure, is_default=True, owner_farm=None, owner_program=None)


def _most_particular(
    holding: QuerySet[BalanceRange], cultivar: Cultivar | None, group: CultivarGroup | None
) -> Iterator[AssignedRange]:
    said = [Case(When(**{name: ""}, then=Value(1)), default=Value(0), output_field=IntegerField()) for name in _SAID]
    ordered = holding.order_by(*said, "-range_version", "code")
    if cultivar is not None:
        for row in ordered.filter(cultivar=cultivar)[:1]:
            yield AssignedRange(row, Level.CULTIVAR)
    group_code = cultivar.group_id if cultivar is not None else (group.pk if group else None)
    for row in ordered.filter(group=group_code, cultivar=None)[:1] if group_code else ():
        yield AssignedRange(row, Level.GROUP)


_SAID = ("use", "canopy")


class Planted(Protocol):
    """What a block, or what was read of one, says of its canopy."""

    @property
    def canopies(self) -> int | None: ...
    @property
    def training(self) -> str: ...


def canopies_of(block: Planted) -> tuple[int, bool]:
    """Give how many curtains of leaves a row of the block carries, and whether somebody said so.

    A Geneva double curtain has two by its name; where nothing is said, one is reckoned with.
    """
    if block.canopies is not None:
        return block.canopies, True
    if block.training == Training.GENEVA_DOUBLE_CURTAIN:
        return 2, True
    return 1, False


def canopy_of(block: Planted) -> str:
    """Give whether the block's canopy is single or divided."""
    return Canopy.DIVIDED if canopies_of(block)[0] > 1 else Canopy.SINGLE
