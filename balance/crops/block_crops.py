"""The crops of a block beside the prunings of the winter after each: of the whole block, of samples, of vines."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Final

import numpy as np
from django.db import connection

from balance.formulas.crops.crop_load import CROP_LOAD, crop_load
from balance.formulas.crops.quotients import Quotient, reason_of, significant
from balance.formulas.crops.winters import Winter, winter_of
from balance.missing_vines import missing_by_season, places_in
from balance.seasons_on_record import newest_season_of
from records.access import OpenFarm
from records.models import Block, HarvestRecord, Vine

#: On what a crop load of a block rests, from the firmest to the loosest.
WHOLE_BLOCK: Final = "whole_block"
SAMPLES: Final = "samples"
PAIRED_VINES: Final = "paired_vines"
BASES: Final = (WHOLE_BLOCK, SAMPLES, PAIRED_VINES)

NOT_RECORDED: Final = "No harvest of the whole block is recorded: there is no crop load of it."
NOT_WEIGHED: Final = "A picking of the whole block was not weighed: there is no crop load of it."

_HARVESTS: Final = """
    farm_id = %(farm)s AND block_id = %(block)s AND withdrawn_at IS NULL
    AND (%(season)s::int IS NULL OR season = %(season)s)
"""
#: A season in which one picking was not weighed has no yield: the sum of the others would be too small.
_OF_BLOCK: Final = f"""
    SELECT season, CASE WHEN bool_and(yield_kg IS NOT NULL) THEN sum(yield_kg)::float8 END
    FROM harvest_record WHERE {_HARVESTS} AND scope = 'block' GROUP BY season
"""  # noqa: S608 - joined from constants
#: A picking takes what is ripe: its samples are one sample, and the pickings of a season are added up.
_OF_SAMPLES: Final = f"""
    SELECT season, CASE WHEN bool_and(a_vine IS NOT NULL) THEN sum(a_vine)::float8 END, min(vines)::int
    FROM (SELECT season, picking, sum(vines_picked) AS vines,
                 CASE WHEN bool_and(yield_kg IS NOT NULL AND vines_picked > 0)
                      THEN sum(yield_kg) / sum(vines_picked) END AS a_vine
          FROM harvest_record WHERE {_HARVESTS} AND scope = 'sample' GROUP BY season, picking) AS pickings
    GROUP BY season
"""  # noqa: S608
#: Both sides of each vine under the season of the crop; without a join, so that a table just filled answers as fast.
_OF_PAIRS: Final = f"""
    SELECT season, count(*), sum(crop), sum(wood)
    FROM (SELECT vine_id, season, max(crop) AS crop, max(wood) AS wood
          FROM (SELECT vine_id, season,
                       CASE WHEN bool_and(yield_kg IS NOT NULL) THEN sum(yield_kg)::float8 END AS crop,
                       NULL::float8 AS wood
                FROM harvest_record WHERE {_HARVESTS} AND scope = 'vine' GROUP BY vine_id, season
                UNION ALL
                SELECT vine_id, season - 1, NULL, pruning_weight_kg::float8
                FROM dormant_record
                WHERE farm_id = %(farm)s AND block_id = %(block)s AND withdrawn_at IS NULL
                  AND (%(season)s::int IS NULL OR season = %(season)s + 1)) AS sides
          GROUP BY vine_id, season) AS pairs
    WHERE crop IS NOT NULL AND wood IS NOT NULL
    GROUP BY season
"""  # noqa: S608
_SOLIDS: Final = f"""
    SELECT scope, coalesce((sum(soluble_solids_brix * yield_kg) / nullif(sum(yield_kg), 0))::float8,
                           avg(soluble_solids_brix)::float8)
    FROM harvest_record WHERE {_HARVESTS} AND soluble_solids_brix IS NOT NULL GROUP BY scope
"""  # noqa: S608
_WINTERS: Final = """
    SELECT season, count(*), avg(wood), stddev_samp(wood)
    FROM (SELECT season, pruning_weight_kg::float8 AS wood FROM dormant_record
          WHERE farm_id = %(farm)s AND block_id = %(block)s AND withdrawn_at IS NULL
            AND pruning_weight_kg IS NOT NULL AND (%(season)s::int IS NULL OR season = %(season)s)) AS weighed
    GROUP BY season ORDER BY season
"""


@dataclass(frozen=True)
class Crop:
    """What one season bore, as it was written down; None where that was not.

    Attributes
    ----------
    block_recorded : bool
        There is a harvest record of the whole block, weighed or not.
    block_kg, sample_kg : float or None
        Of the whole block [kg]; of a vine by the samples [kg a vine].
    sample_vines : int
        Vines of the smallest picking that was sampled.
    pairs : int
        Vines with their own yield and the prunings of the winter after.
    pairs_crop_kg, pairs_wood_kg : float
        Both sides of those vines together [kg].
    """

    season: int
    block_recorded: bool = False
    block_kg: float | None = None
    sample_kg: float | None = None
    sample_vines: int = 0
    pairs: int = 0
    pairs_crop_kg: float = 0.0
    pairs_wood_kg: float = 0.0


@dataclass(frozen=True)
class BlockLoad:
    """The crop load of a block on one basis, with its two sides and, where that is known, its interval."""

    basis: str
    quotient: Quotient
    yield_kg: float | None
    pruning_kg: float | None
    vines: int | None
    low: float | None = None
    high: float | None = None


def winters_of(opened: OpenFarm, block: Block, season: int | None = None) -> dict[int, Winter]:
    """Give the means of a block's winters, or of one, in order; a winter in which nothing was weighed is none.

    Each mean is about the vines that stood in its winter.
    """
    rows = _rows(_WINTERS, opened, block, season)
    if not rows:
        return {}
    places = Vine.objects.for_farm(opened.farm).filter(block=block).count()
    missing = missing_by_season(opened, block, [row[0] for row in rows])
    return {
        winter: winter_of(winter, n, mean, deviation, places - missing.get(winter, 0))
        for winter, n, mean, deviation in rows
    }


def crops_of(opened: OpenFarm, block: Block, season: int | None = None) -> dict[int, Crop]:
    """Give what the seasons of a block bore, or one of them, in order."""
    of_block = {row[0]: row[1] for row in _rows(_OF_BLOCK, opened, block, season)}
    of_samples = {row[0]: row[1:] for row in _rows(_OF_SAMPLES, opened, block, season)}
    of_pairs = {row[0]: row[1:] for row in _rows(_OF_PAIRS, opened, block, season)}
    crops = {}
    for each in sorted({*of_block, *of_samples, *of_pairs}):
        sample_kg, sample_vines = of_samples.get(each, (None, 0))
        pairs, pairs_crop_kg, pairs_wood_kg = of_pairs.get(each, (0, 0.0, 0.0))
        crops[each] = Crop(
            season=each,
            block_recorded=each in of_block,
            block_kg=of_block.get(each),
            sample_kg=sample_kg,
            sample_vines=sample_vines or 0,
            pairs=pairs,
            pairs_crop_kg=pairs_crop_kg,
            pairs_wood_kg=pairs_wood_kg,
        )
    return crops


def soluble_solids_of(opened: OpenFarm, block: Block, season: int) -> float | None:
    """Give the soluble solids of a season's fruit [degrees Brix]: of the block, else of samples, else of vines.

    Pickings count by their yields; where none was weighed, each counts once.
    """
    found = dict(_rows(_SOLIDS, opened, block, season))
    return next((found[scope] for scope in ("block", "sample", "vine") if found.get(scope) is not None), None)


def newest_crop_season(opened: OpenFarm, block: Block) -> int | None:
    """Give the newest season of which a harvest of the block is recorded."""
    records = HarvestRecord.objects.for_farm(opened.farm).filter(block=block, withdrawn_at=None)
    return newest_season_of(records)


def standing_in(opened: OpenFarm, block: Block, season: int) -> int:
    """Give how many vines of a block bore the harvest of a season: its places but for the missing."""
    places = places_in(opened, block, season)
    return places.count - places.missing


def loads_of(crop: Crop, winter: Winter | None, standing: int) -> list[BlockLoad]:
    """Give the crop load of one season on every basis, the firmest first.

    ``winter`` is the one after the harvest; any other is refused by the formula.
    """
    return [_of_block(crop, winter, standing), _of_samples(crop, winter), _of_pairs(crop)]


def firmest(loads: list[BlockLoad]) -> BlockLoad | None:
    """Give the first crop load that is a number."""
    return next((load for load in loads if load.quotient.value is not None), None)


def firmest_or_why(loads: list[BlockLoad]) -> BlockLoad:
    """Give the first crop load that is a number; where there is none, the one that says most of why."""
    return firmest(loads) or next((load for load in loads if load.yield_kg is not None), loads[0])


def _of_block(crop: Crop, winter: Winter | None, standing: int) -> BlockLoad:
    if crop.block_kg is None:
        return _without(WHOLE_BLOCK, NOT_WEIGHED if crop.block_recorded else NOT_RECORDED)
    return _load(WHOLE_BLOCK, crop, crop.block_kg, winter, standing)


def _of_samples(crop: Crop, winter: Winter | None) -> BlockLoad:
    if crop.sample_kg is None:
        return _without(SAMPLES, "No sample of vines was picked and weighed, or not in every picking.")
    return _load(SAMPLES, crop, crop.sample_kg, winter, 1)


def _of_pairs(crop: Crop) -> BlockLoad:
    if not crop.pairs:
        return _without(PAIRED_VINES, "No vine has both its own yield and the prunings of the winter after.")
    quotient = _quotient(crop.season, crop.pairs_crop_kg, crop.season + 1, crop.pairs_wood_kg)
    return BlockLoad(PAIRED_VINES, quotient, crop.pairs_crop_kg, crop.pairs_wood_kg, crop.pairs)


def _load(basis: str, crop: Crop, yield_kg: float, winter: Winter | None, vines: int) -> BlockLoad:
    """Divide a yield by the mean prunings of the winter after, times the vines that bore it."""
    if winter is None:
        reason = f"No vine was weighed in the winter after that harvest, season {crop.season + 1}."
        return BlockLoad(basis, Quotient(None, "under_missing", reason), yield_kg, None, vines)
    quotient = _quotient(crop.season, yield_kg, winter.season, winter.mean * vines)
    low = high = None
    if quotient.value is not None and winter.low is not None and winter.high is not None:
        low = float(significant([yield_kg / (winter.high * vines)])[0])
        high = float(significant([yield_kg / (winter.low * vines)])[0]) if winter.low > 0 else None
    return BlockLoad(basis, quotient, yield_kg, winter.mean * vines, vines, low, high)


def _quotient(yield_season: int, yield_kg: float, pruning_season: int, pruning_kg: float) -> Quotient:
    divided = crop_load([yield_kg], [pruning_kg], yield_season=yield_season, pruning_season=pruning_season)
    status, value = str(divided.status[0]), float(divided.values[0])
    return Quotient(None if np.isnan(value) else value, status, reason_of(status, CROP_LOAD))


def _without(basis: str, reason: str) -> BlockLoad:
    return BlockLoad(basis, Quotient(None, "over_missing", reason), None, None, None)


def _rows(sql: str, opened: OpenFarm, block: Block, season: int | None) -> list[tuple[Any, ...]]:
    with connection.cursor() as cursor:
        cursor.execute(sql, {"farm": opened.farm.pk, "block": block.pk, "season": season})
        return list(cursor.fetchall())
