"""Weights that look as if another unit had been meant, such as pounds typed as kilograms.

A batch is held against what the same block weighed before.  Vines differ, and years do, but the median of a block
does not change by the factor between two units; where it seems to, and the other unit would put it back, the batch is
flagged.  It is stored as it was sent: only a person knows what the scale showed.
"""

from __future__ import annotations

import math
import statistics
import uuid
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Final

from django.db import connection

from records.access import OpenFarm
from records.units import UNITS

#: Fewer weights, of the batch or of the block before, say nothing.
FEWEST: Final = 8
#: So many of a block's newest weights are looked at, and so many blocks of one batch.
_LOOKED_AT: Final = 400
_MOST_BLOCKS: Final = 50
#: Units that prunings are weighed in; a scale shows nothing else.
_ON_SCALES: Final = ("kg", "[lb_av]", "g", "[oz_av]")
#: Below this ratio nothing is said: a little more than halfway (the square root of 2.2046) to pounds for kilograms.
_UNREMARKABLE: Final = 1.55


@dataclass(frozen=True)
class Weighed:
    """One weight of a batch: its block and season, the unit as sent, and the kilograms that it means."""

    block_id: str
    season: int
    unit: str
    kg: float


@dataclass(frozen=True)
class UnitDoubt:
    """A block whose weights in a batch look as if sent in another unit than the one that they name."""

    block_id: str
    sent_unit: str
    likely_unit: str
    records: int
    median_kg: float
    median_before_kg: float

    @property
    def detail(self) -> str:
        sent, likely = UNITS[self.sent_unit].name, UNITS[self.likely_unit].name
        return (
            f"The median of these {self.records} weights is {self.median_kg:.2f} kg; before, the block's was "
            f"{self.median_before_kg:.2f} kg. That is as if {likely}s had been sent as {sent}s. They are stored as "
            "sent: check what the scale showed, and correct them if need be."
        )


def likely_unit(unit: str, ratio: float) -> str | None:
    """Give the unit that was likely meant, where another than the one sent is the better guess.

    Parameters
    ----------
    unit : str
        UCUM code as sent.
    ratio : float
        Median of the batch over the median of the block before, both in kilograms; above 0.

    Returns
    -------
    str or None
        A unit of the list that scales show, under which the ratio would be closer to one; None where the ratio is
        unremarkable or no other unit is a better guess.

    Notes
    -----
    The bound of 1.55 flags at least 95 % of planted mix-ups of pound and kilogram and at most 1 % of clean batches of
    30 weights, if years differ by 15 % (``tests/records/test_unit_doubts.py``, on the vines of coombe2019).

    Examples
    --------
    >>> likely_unit("kg", 2.3), likely_unit("[lb_av]", 0.45), likely_unit("kg", 1.3), likely_unit("kg", 0.45)
    ('[lb_av]', 'kg', None, None)
    """
    if unit not in _ON_SCALES or 1 / _UNREMARKABLE < ratio < _UNREMARKABLE:
        return None
    away = {other: abs(math.log(ratio * float(UNITS[other].factor / UNITS[unit].factor))) for other in _ON_SCALES}
    best = min(away, key=lambda other: away[other])
    return best if away[best] < away[unit] and away[best] < math.log(_UNREMARKABLE) else None


def doubts_about(opened: OpenFarm, weighed: Iterable[Weighed]) -> list[UnitDoubt]:
    """Give the doubts about the weights of a batch that this transaction stored."""
    groups: dict[tuple[str, str], list[float]] = {}
    first_season = 9999
    for each in weighed:
        groups.setdefault((each.block_id, each.unit), []).append(each.kg)
        first_season = min(first_season, each.season)
    enough = {key: (len(values), statistics.median(values)) for key, values in groups.items() if len(values) >= FEWEST}
    return _doubts(enough, _medians_before(opened, sorted({block for block, _ in enough})[:_MOST_BLOCKS], first_season))


def doubts_of_season(opened: OpenFarm, block_id: uuid.UUID, season: int) -> list[UnitDoubt]:
    """Give the doubts about the weights of one winter of a block, held against its earlier winters."""
    with connection.cursor() as cursor:
        cursor.execute(_OF_SEASON, {"farm": opened.farm.pk, "block": block_id, "season": season, "fewest": FEWEST})
        enough = {(str(block_id), unit): (count, float(median)) for unit, count, median in cursor.fetchall()}
    return _doubts(enough, _medians(opened, [str(block_id)] if enough else [], f"r.season < {int(season)}"))


_OF_SEASON: Final = """
    SELECT pruning_weight_unit, count(*), percentile_cont(0.5) WITHIN GROUP (ORDER BY pruning_weight_kg::float8)
    FROM dormant_record
    WHERE farm_id = %(farm)s AND block_id = %(block)s AND season = %(season)s AND withdrawn_at IS NULL
      AND pruning_weight_kg > 0
    GROUP BY pruning_weight_unit HAVING count(*) >= %(fewest)s
"""


def _doubts(enough: dict[tuple[str, str], tuple[int, float]], before: dict[str, float]) -> list[UnitDoubt]:
    """Hold counts and medians by block and unit against the medians of the blocks before."""
    return [
        UnitDoubt(block, unit, likely, count, median, before[block])
        for (block, unit), (count, median) in sorted(enough.items())
        if block in before and median > 0 and (likely := likely_unit(unit, median / before[block])) is not None
    ]


def _medians_before(opened: OpenFarm, blocks: Sequence[str], season: int) -> dict[str, float]:
    """Give the median of each block's newest weights: of earlier winters, else of this one's that stood before."""
    found = _medians(opened, blocks, f"r.season < {int(season)}")
    others = [block for block in blocks if block not in found]
    return found | _medians(opened, others, "r.change_position <> change_position()")


def _medians(opened: OpenFarm, blocks: Sequence[str], which: str) -> dict[str, float]:
    if not blocks:
        return {}
    with connection.cursor() as cursor:
        cursor.execute(
            f"""
            SELECT block.id, (
                SELECT CASE WHEN count(*) >= %(fewest)s THEN percentile_cont(0.5) WITHIN GROUP (ORDER BY kg) END
                FROM (
                    SELECT pruning_weight_kg::float8 AS kg FROM dormant_record r
                    WHERE r.farm_id = %(farm)s AND r.block_id = block.id AND r.withdrawn_at IS NULL
                      AND r.pruning_weight_kg > 0 AND {which}
                    ORDER BY r.season DESC, r.vine_id DESC LIMIT %(looked_at)s
                ) AS newest
            ) FROM unnest(%(blocks)s::uuid[]) AS block(id)
            """,  # noqa: S608 - the condition is one of two above
            {
                "farm": opened.farm.pk,
                "blocks": [uuid.UUID(block) for block in blocks],
                "fewest": FEWEST,
                "looked_at": _LOOKED_AT,
            },
        )
        return {str(block): float(median) for block, median in cursor.fetchall() if median}
