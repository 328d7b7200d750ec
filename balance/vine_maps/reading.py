"""What one season says of each vine of a block, in walking order and column by column: no object a vine."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from balance.blocks import BlockTargets, newest_season, targets_of_block
from balance.formulas.cordons.replacement_steps import OPEN
from balance.missing_vines import plant_states
from balance.packed import one_row, packed_column, packed_ids, places_among
from balance.seasons_on_record import newest_season_of
from balance.walking import Vines
from records.access import OpenFarm
from records.models import Block, CordonInspection

WEIGHT: Final = "weight"
COUNT: Final = "count"
CORDON: Final = "cordon"
#: What a map may show.
SHOWS: Final = (WEIGHT, COUNT, CORDON)
#: Without a season, events of every year tell which places have no vine.
_ANY_SEASON: Final = 2100

#: The newest inspection of each cordon in the season; a sum holds the cordons that say both of its sides.
_CORDONS: Final = """
    SELECT string_agg(uuid_send(vine_id), ''), string_agg(int4send(cordons), ''),
           string_agg(int4send(coalesce(living, -1)), ''), string_agg(int4send(coalesce(blank, -1)), ''),
           string_agg(float8send(coalesce(blank_m, 'NaN')), ''), string_agg(float8send(coalesce(length_m, 'NaN')), '')
    FROM (
        SELECT vine_id, count(*)::int AS cordons,
               sum(living_positions) FILTER (WHERE blank_positions IS NOT NULL)::int AS living,
               sum(blank_positions) FILTER (WHERE living_positions IS NOT NULL)::int AS blank,
               sum(blank_length_m) FILTER (WHERE cordon_length_m IS NOT NULL)::float8 AS blank_m,
               sum(cordon_length_m) FILTER (WHERE blank_length_m IS NOT NULL)::float8 AS length_m
        FROM (SELECT DISTINCT ON (vine_id, cordon)
                     vine_id, living_positions, blank_positions, blank_length_m, cordon_length_m
              FROM cordon_inspection
              WHERE farm_id = %(farm)s AND block_id = %(block)s AND season = %(season)s AND withdrawn_at IS NULL
              ORDER BY vine_id, cordon, observed_at DESC NULLS LAST, id DESC) AS newest
        GROUP BY vine_id) AS by_vine
"""
#: Of several open cases of a vine the one that is furthest from its end.
_CASES: Final = """
    SELECT string_agg(uuid_send(vine_id), ''), string_agg(int4send(cases), ''), string_agg(int4send(step), '')
    FROM (SELECT vine_id, count(*)::int AS cases, min(array_position(%(open)s::text[], step::text)) AS step
          FROM cordon_case
          WHERE farm_id = %(farm)s AND block_id = %(block)s AND withdrawn_at IS NULL AND step = ANY(%(open)s)
          GROUP BY vine_id) AS by_vine
"""


@dataclass(frozen=True, eq=False)
class VineMap:
    """The vines of a block, or of some of its rows, in walking order.

    Attributes
    ----------
    targets : BlockTargets
        Vines, weights, targets, counts and verdicts of the season.
    plants : ndarray of str
        One of ``balance.missing_vines.PLANT_STATES``.
    cordons : ndarray of float
        Cordons that were inspected in the season; NaN where none was.
    living, blank : ndarray of float
        Spur positions on the cordons that say both; NaN where none does.
    blank_share : ndarray of float
        By positions, or where nobody counted them by length [%]; NaN where neither is said.
    open_cases : ndarray of float
        Replacements under way as they stand now; NaN where there is none.
    steps : ndarray of str
        The step of that which is furthest from its end; empty where there is none.
    """

    targets: BlockTargets
    plants: NDArray[np.str_]
    cordons: NDArray[np.float64]
    living: NDArray[np.float64]
    blank: NDArray[np.float64]
    blank_share: NDArray[np.float64]
    open_cases: NDArray[np.float64]
    steps: NDArray[np.str_]

    @property
    def season(self) -> int | None:
        return self.targets.season

    @property
    def vines(self) -> Vines:
        return self.targets.walked.vines

    def __len__(self) -> int:
        return len(self.vines)


def vine_map_of(opened: OpenFarm, block: Block, season: int | None, show: str, rows: range | None) -> VineMap:
    """Read the map of a block.

    Without a season it is the newest on record: of an inspection where cordons are to be shown, else of a weighing.

    Raises
    ------
    NotValid
        There are too many vines to be answered at once.
    """
    if season is None and show == CORDON:
        season = _newest_inspected(opened, block)
    targets = targets_of_block(opened, block, season, rows)
    ids = targets.walked.vines.ids
    named = {"farm": opened.farm.pk, "block": block.pk, "season": targets.season, "open": list(OPEN)}
    cordons, living, blank, blank_m, length_m = _laid(_CORDONS, named, ids, ">i4", ">i4", ">i4", ">f8", ">f8")
    cases, step = _laid(_CASES, named, ids, ">i4", ">i4")
    return VineMap(
        targets=targets,
        plants=plant_states(opened, block, targets.season or _ANY_SEASON, ids),
        cordons=cordons,
        living=_said(living),
        blank=_said(blank),
        blank_share=_share(_said(living), _said(blank), blank_m, length_m),
        open_cases=cases,
        steps=np.array(["", *OPEN])[np.nan_to_num(step).astype(np.intp)],
    )


def _newest_inspected(opened: OpenFarm, block: Block) -> int | None:
    inspections = CordonInspection.objects.for_farm(opened.farm).filter(block=block, withdrawn_at=None)
    newest = newest_season_of(inspections)
    return newest if newest is not None else newest_season(opened, block)


def _laid(sql: str, named: dict[str, Any], ids: NDArray[np.uint8], *kinds: str) -> list[NDArray[np.float64]]:
    """Lay packed columns beside the vines that they speak of; NaN where they speak of none."""
    packed, *columns = one_row(sql, named)
    at = places_among(packed_ids(packed), ids)
    here = at >= 0
    laid = []
    for column, kind in zip(columns, kinds, strict=True):
        laid.append(np.full(len(ids), np.nan))
        laid[-1][at[here]] = packed_column(column, kind)[here]
    return laid


def _said(column: NDArray[np.float64]) -> NDArray[np.float64]:
    """Read -1, by which the query says that nobody counted, as NaN."""
    return np.where(column < 0, np.nan, column)


def _share(
    living: NDArray[np.float64], blank: NDArray[np.float64], blank_m: NDArray[np.float64], length_m: NDArray[np.float64]
) -> NDArray[np.float64]:
    by_position, by_length = np.full(len(living), np.nan), np.full(len(living), np.nan)
    positions = living + blank
    np.divide(100 * blank, positions, out=by_position, where=positions > 0)
    np.divide(100 * blank_m, length_m, out=by_length, where=length_m > 0)
    return np.clip(np.where(np.isnan(by_position), by_length, by_position), 0, 100)
