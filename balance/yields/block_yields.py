"""What a block's records say of its yield: clusters counted, clusters weighed, and the vines that bear."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Final

import numpy as np
from django.db import connection
from numpy.typing import NDArray

from balance.formulas.counting import counted
from balance.formulas.targets.explanation import plain
from balance.formulas.yields.estimates import Estimate, mean_of, ratio_of, share_of
from balance.formulas.yields.lag_phase import CLUSTER_KG
from balance.missing_vines import Places, missing_among, places_in
from balance.packed import one_row, packed_column, packed_ids
from balance.seasons_on_record import newest_season_of
from balance.yields.cluster_weight_ways import SeasonWeights, YieldQuestion
from records.access import OpenFarm
from records.errors import NotValid
from records.models import Block, ClusterCount

MISSING_BY_EVENTS: Final = (
    "Missing vines are those that vine events name up to this season. A gap that nobody wrote down counts as a vine: "
    "walk the rows every year."
)
YOUNG: Final = (
    "{young} planted in this season or in the two before it, and counted as bearing. So young a vine bears little or "
    "nothing yet: the yield is too high by that."
)
IMPOSSIBLE_LAG_PHASE: Final = (
    "The weights taken in the lag phase come to {kg} kg a cluster, which no cluster has; they were left out. Check "
    "them and their units."
)
#: Later than any season that a record may have.
ALL_SEASONS: Final = 2100
_MOST_SEASONS: Final = 50

_COUNTS: Final = """
    SELECT string_agg(uuid_send(vine_id), ''),
           string_agg(float8send(
               coalesce(coalesce(clusters_after_thinning, clusters_before_thinning)::float8, 'NaN')), ''),
           string_agg(float8send(coalesce(trim_scale(lag_phase_weight_kg)::float8, 'NaN')), ''),
           string_agg(float8send(coalesce(lag_phase_clusters::float8, 'NaN')), '')
    FROM cluster_count WHERE farm_id = %s AND block_id = %s AND season = %s AND withdrawn_at IS NULL
"""
_PICKED: Final = """
    SELECT season, trim_scale(coalesce(cluster_weight_kg, yield_kg / nullif(clusters, 0)))::float8 AS kg,
           coalesce(clusters, 0) AS clusters
    FROM harvest_record WHERE farm_id = %(farm)s AND block_id = %(block)s AND withdrawn_at IS NULL
"""
_THIS_SEASON: Final = f"""
    SELECT string_agg(float8send(kg), ''), string_agg(float8send(clusters::float8), '')
    FROM ({_PICKED}) AS picked WHERE season = %(season)s AND kg BETWEEN %(low)s AND %(high)s
"""  # noqa: S608
_EARLIER: Final = f"""
    WITH final AS (
        SELECT season, CASE WHEN min(clusters) > 0 THEN sum(kg * clusters) / sum(clusters) ELSE avg(kg) END AS kg
        FROM ({_PICKED}) AS picked WHERE season < %(season)s AND kg BETWEEN %(low)s AND %(high)s GROUP BY season
    ), early AS (
        SELECT season, (sum(lag_phase_weight_kg) / sum(lag_phase_clusters))::float8 AS kg FROM cluster_count
        WHERE farm_id = %(farm)s AND block_id = %(block)s AND season < %(season)s AND withdrawn_at IS NULL
          AND lag_phase_weight_kg IS NOT NULL
        GROUP BY season
    )
    SELECT season, final.kg, CASE WHEN early.kg BETWEEN %(low)s AND %(high)s THEN early.kg END
    FROM final FULL JOIN early USING (season) ORDER BY season DESC LIMIT %(most)s
"""  # noqa: S608


@dataclass(frozen=True)
class ClusterCounts:
    """What was counted on a block's vines in one season, one element a record; NaN where it was not.

    ``vines`` are ids of 16 bytes a row; weights are in kilograms.
    """

    vines: NDArray[np.uint8]
    clusters: NDArray[np.float64]
    lag_phase_kg: NDArray[np.float64]
    lag_phase_clusters: NDArray[np.float64]


@dataclass(frozen=True)
class BlockYield:
    """A block's question, with what it was made of."""

    question: YieldQuestion
    places: Places
    season: int | None
    ground: str


def newest_count(opened: OpenFarm, block: Block) -> int | None:
    """Give the newest season in which clusters of the block were counted."""
    counts = ClusterCount.objects.for_farm(opened.farm).filter(block=block, withdrawn_at=None)
    return newest_season_of(counts)


def counts_of(opened: OpenFarm, block: Block, season: int | None) -> ClusterCounts:
    """Give what was counted on the block's vines in one season."""
    ids, *columns = one_row(_COUNTS, [opened.farm.pk, block.pk, season])
    return ClusterCounts(packed_ids(ids), *map(_floats, columns))


def yield_question(opened: OpenFarm, block: Block, season: int | None) -> BlockYield:
    """Give what the block's records say of its yield in one season.

    Raises
    ------
    NotValid
        The block has no vines.
    """
    until = ALL_SEASONS if season is None else season
    places = places_in(opened, block, until)
    if not places.count:
        detail = "This block has no vines yet, so there is nothing to estimate. Add rows and vines first."
        raise NotValid.at("block", code="no_vines", detail=detail)
    counts = counts_of(opened, block, season)
    bearing = ~missing_among(opened, block, until, counts.vines)
    early, doubt = _lag_phase(counts)
    area, ground = _area(block, places)
    question = YieldQuestion(
        places=places.count,
        missing=share_of(places.missing, places.count, places.count),
        clusters=_clusters(counts.clusters[bearing], places),
        this_season=_this_season(opened, block, until),
        lag_phase=early,
        seasons=_earlier(opened, block, until),
        cultivar=block.cultivar_id,
        area_m2=area,
        cautions=(MISSING_BY_EVENTS, *_young(places), *doubt),
    )
    return BlockYield(question, places, season, ground)


def _clusters(clusters: NDArray[np.float64], places: Places) -> Estimate | None:
    counted = clusters[~np.isnan(clusters)]
    return mean_of(counted, max(places.count - places.missing, counted.size)) if counted.size else None


def _lag_phase(counts: ClusterCounts) -> tuple[Estimate | None, tuple[str, ...]]:
    weighed = ~np.isnan(counts.lag_phase_kg) & (counts.lag_phase_clusters > 0)
    if not weighed.any():
        return None, ()
    estimate = ratio_of(counts.lag_phase_kg[weighed], counts.lag_phase_clusters[weighed])
    if CLUSTER_KG[0] <= estimate.value <= CLUSTER_KG[1]:
        return estimate, ()
    return None, (IMPOSSIBLE_LAG_PHASE.format(kg=plain(estimate.value, 9)),)


def _this_season(opened: OpenFarm, block: Block, season: int) -> Estimate | None:
    kilograms, clusters = map(_floats, one_row(_THIS_SEASON, _named(opened, block, season)))
    if not kilograms.size:
        return None
    return ratio_of(kilograms * clusters, clusters) if (clusters > 0).all() else mean_of(kilograms)


def _earlier(opened: OpenFarm, block: Block, season: int) -> tuple[SeasonWeights, ...]:
    with connection.cursor() as cursor:
        cursor.execute(_EARLIER, _named(opened, block, season))
        return tuple(SeasonWeights(*row) for row in reversed(cursor.fetchall()))


def _area(block: Block, places: Places) -> tuple[float | None, str]:
    """Give the area that the block's vines stand on [m2], and where it is from."""
    if block.declared_area_m2 is not None:
        return float(block.declared_area_m2), "declared_area"
    if block.computed_area_m2 is not None:
        return float(block.computed_area_m2), "computed_area"
    if block.vine_spacing_m is not None and block.row_spacing_m is not None:
        return places.count * float(block.vine_spacing_m * block.row_spacing_m), "places × spacing"
    return None, "area"


def _young(places: Places) -> tuple[str, ...]:
    return (YOUNG.format(young=counted(places.young, "vine was", "vines were")),) if places.young else ()


def _named(opened: OpenFarm, block: Block, season: int) -> dict[str, Any]:
    low, high = CLUSTER_KG
    named = {"farm": opened.farm.pk, "block": block.pk, "season": season}
    return {**named, "low": low, "high": high, "most": _MOST_SEASONS}


def _floats(packed: bytes | None) -> NDArray[np.float64]:
    return packed_column(packed, ">f8")
