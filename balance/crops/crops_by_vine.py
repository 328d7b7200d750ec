"""The crop loads of single vines of a block, and what was counted on each, column by column."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from balance.formulas.crops.crop_load import crop_load
from balance.formulas.crops.quotients import Quotients
from balance.missing_vines import missing_among
from balance.packed import one_row, packed_column, packed_ids, places_among
from balance.walking import Vines, Walked, walk
from records.access import OpenFarm
from records.models import Block

_YIELDS: Final = """
    SELECT string_agg(uuid_send(vine_id), ''), string_agg(float8send(crop), '')
    FROM (SELECT vine_id, CASE WHEN bool_and(yield_kg IS NOT NULL) THEN sum(yield_kg)::float8 ELSE 'NaN' END AS crop
          FROM harvest_record
          WHERE farm_id = %(farm)s AND block_id = %(block)s AND season = %(season)s AND scope = 'vine'
            AND withdrawn_at IS NULL
          GROUP BY vine_id) AS crops
"""
_SHOOTS: Final = """
    SELECT string_agg(uuid_send(vine_id), ''), string_agg(float8send(coalesce(count_shoots::float8, 'NaN')), ''),
           string_agg(float8send(coalesce((count_shoots + non_count_shoots)::float8, 'NaN')), '')
    FROM shoot_count
    WHERE farm_id = %(farm)s AND block_id = %(block)s AND season = %(season)s AND withdrawn_at IS NULL
"""


@dataclass(frozen=True, eq=False)
class VineCrops:
    """The vines of a block in walking order, each with its crop and the prunings of the winter after.

    Attributes
    ----------
    walked : Walked
        With the dormant records of the season after the harvest.
    yields_kg : ndarray of float
        All pickings of the vine [kg]; NaN where there are none, or where one was not weighed.
    picked : ndarray of bool
        The vine has a harvest record of its own.
    stands : ndarray of bool
        Nobody found it missing up to the season of the harvest.
    loads : Quotients
    """

    walked: Walked
    yields_kg: NDArray[np.float64]
    picked: NDArray[np.bool_]
    stands: NDArray[np.bool_]
    loads: Quotients


def crops_of_vines(opened: OpenFarm, block: Block, season: int | None, row_number: int | None = None) -> VineCrops:
    """Give the crop load of every vine of a block, or of one row, for the harvest of one season; without one, none.

    Raises
    ------
    NotValid
        There are too many vines to be answered at once.
    """
    winter = None if season is None else season + 1
    walked = walk(opened, block, winter, row_number)
    at, (yields,) = _columns(_YIELDS, opened, block, season, walked.vines)
    picked = np.zeros(len(walked), dtype=np.bool_)
    picked[at] = True
    return VineCrops(
        walked=walked,
        yields_kg=yields,
        picked=picked,
        stands=_stands(opened, block, season, walked.vines),
        loads=crop_load(yields, walked.weights_kg, yield_season=season or 0, pruning_season=winter or 1),
    )


def shoots_of_vines(
    opened: OpenFarm, block: Block, season: int | None, vines: Vines
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Give count shoots, and all shoots, of every vine in one growing season; NaN where they were not counted."""
    _, (count, every) = _columns(_SHOOTS, opened, block, season, vines)
    return count, every


def standing_vines(opened: OpenFarm, block: Block, season: int | None, vines: Vines) -> int:
    """Give how many of these vines stand in a season."""
    return int(np.count_nonzero(_stands(opened, block, season, vines)))


def _stands(opened: OpenFarm, block: Block, season: int | None, vines: Vines) -> NDArray[np.bool_]:
    if season is None:
        return np.ones(len(vines), dtype=np.bool_)
    return ~missing_among(opened, block, season, vines.ids)


def _columns(
    sql: str, opened: OpenFarm, block: Block, season: int | None, vines: Vines
) -> tuple[NDArray[np.intp], list[NDArray[np.float64]]]:
    """Give where the rows found stand among the vines, and their columns laid beside the vines."""
    ids, *packed = one_row(sql, {"farm": opened.farm.pk, "block": block.pk, "season": season})
    at = places_among(packed_ids(ids), vines.ids)
    here = at >= 0
    laid = []
    for column in packed:
        laid.append(np.full(len(vines), np.nan))
        laid[-1][at[here]] = packed_column(column, ">f8")[here]
    return at[here], laid
