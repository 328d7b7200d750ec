"""What is known of a vine beside its weighing: how long it has stood, what lives on it, whether it is renewed."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from balance.packed import one_row, packed_column, packed_ids, places_among
from balance.walking import Vines
from records.access import OpenFarm
from records.models import Block, Vine
from records.models.farms import Hemisphere

#: Positions are those of each cordon's newest inspection since the season before; older ones tell of other wood.
_OF_A_VINE: Final = """
    SELECT (SELECT max(season) FROM vine_event
            WHERE farm_id = %(farm)s AND vine_id = %(vine)s AND season <= %(season)s
              AND event IN ('planted', 'replanted') AND withdrawn_at IS NULL),
           (SELECT sum(living_positions) FROM (
                SELECT DISTINCT ON (cordon) living_positions FROM cordon_inspection
                WHERE farm_id = %(farm)s AND vine_id = %(vine)s AND season BETWEEN %(season)s - 1 AND %(season)s
                  AND living_positions IS NOT NULL AND withdrawn_at IS NULL
                ORDER BY cordon, season DESC, observed_at DESC NULLS LAST, id DESC) AS newest),
           EXISTS (SELECT FROM cordon_case
                   WHERE farm_id = %(farm)s AND vine_id = %(vine)s AND step_number > 1 AND withdrawn_at IS NULL)
"""
_PLANTED_IN_A_BLOCK: Final = """
    SELECT string_agg(uuid_send(vine_id), ''), string_agg(int2send(planted::int2), '')
    FROM (SELECT vine_id, max(season) AS planted FROM vine_event
          WHERE farm_id = %(farm)s AND block_id = %(block)s AND season <= %(season)s
            AND event IN ('planted', 'replanted') AND withdrawn_at IS NULL
          GROUP BY vine_id) AS planting
"""


@dataclass(frozen=True)
class Standing:
    """What is known of one vine; None where nobody said.

    ``renewed``: a cordon of it is or was being replaced, so an arm of it may be young.
    """

    seasons_grown: int | None
    living_positions: int | None
    renewed: bool = False


def standing_of(opened: OpenFarm, block: Block, vine: Vine, season: int) -> Standing:
    """Give how many seasons a vine has grown before a harvest, and its living spur positions."""
    planted, positions, renewed = one_row(_OF_A_VINE, {"farm": opened.farm.pk, "vine": vine.pk, "season": season})
    year = vine.year_planted or block.year_planted
    if planted is None and year is not None:
        planted = _first_harvest(opened, year)
    return Standing(None if planted is None else max(0, season - planted), positions, renewed)


def seasons_grown(opened: OpenFarm, block: Block, vines: Vines, season: int | None) -> NDArray[np.float64]:
    """Give the same for every vine of a block, in walking order; NaN where nobody said when it was planted."""
    years = vines.years_planted.astype(np.float64)
    years[years == 0] = np.nan if block.year_planted is None else block.year_planted
    planted = years + _first_harvest(opened, 0)
    ids, seasons = one_row(_PLANTED_IN_A_BLOCK, {"farm": opened.farm.pk, "block": block.pk, "season": season})
    at = places_among(packed_ids(ids), vines.ids)
    told = packed_column(seasons, ">i2")
    planted[at[at >= 0]] = told[at >= 0]
    return np.maximum(0.0, (np.nan if season is None else season) - planted)


def _first_harvest(opened: OpenFarm, year: int) -> int:
    """Give the season in which a vine planted in the spring of a year grows first: in the south, the next year's."""
    return year + (1 if opened.farm.hemisphere == Hemisphere.SOUTH else 0)
