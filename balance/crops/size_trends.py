"""How a block's vine size has moved over its winters, with the crop that stood between each two."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Final

from django.db import connection

from balance.crops.block_crops import BlockLoad, Crop, crops_of, firmest, loads_of, standing_in, winters_of
from balance.formulas.crops.size_advice import CropBetween, SizeAdvice, advise
from balance.formulas.crops.size_steps import steps_of_trend
from balance.formulas.crops.size_trend import SizeTrend, size_trend
from balance.formulas.crops.winters import Winter
from balance.formulas.methods import Working
from balance.formulas.ranges import Range, judge
from records.access import OpenFarm
from records.models import Block

#: Later than any season that a record may have.
NO_END: Final = 2100
_IN_ALL = """
    SELECT count(*) FROM (
        SELECT vine_id FROM dormant_record
        WHERE farm_id = %s AND block_id = %s AND withdrawn_at IS NULL AND pruning_weight_kg IS NOT NULL
          AND season = ANY(%s)
        GROUP BY vine_id HAVING count(DISTINCT season) = %s) AS steadfast
"""


@dataclass(frozen=True)
class BlockTrend:
    """The trend of a block's vine size, and what it rests on.

    ``crops`` is what each harvest brought; ``loads`` has the firmest crop load of each whose prunings were weighed;
    ``in_all`` is how many vines were weighed in every one of the winters.
    """

    winters: dict[int, Winter]
    crops: dict[int, Crop]
    loads: dict[int, BlockLoad]
    in_all: int
    trend: SizeTrend
    advice: SizeAdvice
    steps: list[Working]


def trend_of(
    opened: OpenFarm, block: Block, confidence: float, assigned: dict[str, Any] | None, until: int | None = None
) -> BlockTrend:
    """Judge the trend of a block's vine size together with its crop loads; ``assigned`` is the range of these.

    Where ``until`` names a harvest, neither later harvests nor winters after the one that follows it are looked at.
    """
    last = NO_END if until is None else until
    winters = {season: winter for season, winter in winters_of(opened, block).items() if season <= last + 1}
    crops = {season: crop for season, crop in crops_of(opened, block).items() if season <= last}
    loads = _loads(opened, block, winters, crops)
    sizes = {season: winter.mean for season, winter in winters.items()}
    trend = size_trend(list(sizes), list(sizes.values()), confidence=confidence)
    limits = Range(assigned["low"], assigned["high"], assigned["unit"]) if assigned else None
    between = [
        CropBetween(
            season=season,
            crop_load=load.quotient.value,
            verdict=judge(load.quotient.value, limits),
            size_before=sizes.get(season),
            size_after=sizes.get(season + 1),
        )
        for season, load in loads.items()
    ]
    return BlockTrend(
        winters=winters,
        crops=crops,
        loads=loads,
        in_all=_weighed_in_all(opened, block, list(winters)),
        trend=trend,
        advice=advise(trend, between),
        steps=steps_of_trend(trend, sizes, between),
    )


def _loads(opened: OpenFarm, block: Block, winters: dict[int, Winter], crops: dict[int, Crop]) -> dict[int, BlockLoad]:
    """Give the firmest crop load of every harvest."""
    loads = {}
    for season, crop in crops.items():
        standing = 0 if crop.block_kg is None else standing_in(opened, block, season)
        load = firmest(loads_of(crop, winters.get(season + 1), standing))
        if load is not None:
            loads[season] = load
    return loads


def _weighed_in_all(opened: OpenFarm, block: Block, winters: list[int]) -> int:
    with connection.cursor() as cursor:
        cursor.execute(_IN_ALL, [opened.farm.pk, block.pk, winters, len(winters)])
        count: int = cursor.fetchone()[0]
    return count
