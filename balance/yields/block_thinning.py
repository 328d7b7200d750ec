"""Thinning of a whole block at once: one computation over arrays, no object a vine."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from balance.formulas.methods import NO_SOURCE, Method
from balance.formulas.yields.estimates import Estimate, exact
from balance.formulas.yields.lag_phase import CLUSTER_KG, DEFAULT_METHOD, OWN_METHOD
from balance.formulas.yields.thinning import BY_CROP_LOAD, BY_YIELD, Thinned, thin, yield_by_crop_load
from balance.formulas.yields.yield_estimates import EARLIER_SEASONS, THIS_SEASON
from balance.missing_vines import missing_among
from balance.packed import places_among
from balance.walking import Walked
from balance.yields.block_yields import ALL_SEASONS, ClusterCounts, counts_of, yield_question
from balance.yields.cluster_weight_ways import WayToWeight, weights_of
from records.access import OpenFarm
from records.models import Block

OK: Final = "ok"
NOT_COUNTED: Final = "not_counted"
NOT_WEIGHED: Final = "not_weighed"
MISSING: Final = "missing"
NO_CLUSTER_WEIGHT: Final = "no_cluster_weight"
STATUSES: Final = (OK, NOT_COUNTED, NOT_WEIGHED, MISSING, NO_CLUSTER_WEIGHT)

UNKNOWN_WEIGHT: Final = (
    "There is no weight of a cluster: none was sent, no season has one at harvest, and none was weighed in the lag "
    "phase. What is printed for a cultivar differs by a factor of five between sites, so nothing is thinned by it. "
    "Send cluster_weight, or weigh clusters."
)
AS_SENT: Final = Method(
    code="cluster_weight_as_sent",
    version=1,
    label="Weight of a cluster as sent",
    expression="weight of a cluster = the weight that was sent",
    source="Whoever asks; common practice, no source",
    mark=NO_SOURCE,
)
#: Which weight serves where none is sent: the nearest to this season's clusters first.
_NEAREST_FIRST: Final = (OWN_METHOD, THIS_SEASON, EARLIER_SEASONS, DEFAULT_METHOD)


@dataclass(frozen=True)
class Wanted:
    """What every vine is to carry: a crop load of its own pruning weight, or a yield [kg]."""

    crop_load: float | None
    yield_kg: float | None

    @property
    def method(self) -> Method:
        """The method by which clusters follow."""
        return BY_YIELD if self.crop_load is None else BY_CROP_LOAD


@dataclass(frozen=True)
class BlockThinning:
    """The thinning of a block's vines, in walking order; ``way`` is how the weight of a cluster was had."""

    season: int | None
    pruning_weights_kg: NDArray[np.float64]
    way: WayToWeight
    ways: tuple[WayToWeight, ...]
    counted: NDArray[np.float64]
    wanted_kg: NDArray[np.float64]
    thinned: Thinned
    status: NDArray[np.str_]

    @property
    def weight(self) -> Estimate | None:
        """The weight of a cluster [kg]."""
        return self.way.weight


def thinning_of_block(
    opened: OpenFarm, block: Block, walked: Walked, season: int | None, wanted: Wanted, *, sent_kg: float | None = None
) -> BlockThinning:
    """Compute what to leave on every vine that was walked.

    Raises
    ------
    NotValid
        The block has no vines.
    """
    ways = weights_of(yield_question(opened, block, season).question)
    way = WayToWeight(AS_SENT, (exact(sent_kg),), None) if sent_kg is not None else _nearest(ways)
    counted = _counted(walked, counts_of(opened, block, season))
    gone = missing_among(opened, block, season or ALL_SEASONS, walked.vines.ids)
    wanted_kg = np.where(gone, np.nan, _wanted(walked, wanted))
    thinned = _thin(counted, wanted_kg, way.weight)
    unknown = np.full(len(walked), way.weight is None)
    status = np.select(
        [gone, np.isnan(wanted_kg), unknown, np.isnan(counted)],
        [MISSING, NOT_WEIGHED, NO_CLUSTER_WEIGHT, NOT_COUNTED],
        default=OK,
    )
    return BlockThinning(season, walked.weights_kg, way, ways, counted, wanted_kg, thinned, status)


def _nearest(ways: tuple[WayToWeight, ...]) -> WayToWeight:
    low, high = CLUSTER_KG
    known = {way.method.code: way for way in ways if way.weight is not None and low <= way.weight.value <= high}
    first = next((known[method.code] for method in _NEAREST_FIRST if method.code in known), None)
    return first or WayToWeight(EARLIER_SEASONS, (), UNKNOWN_WEIGHT)


def _counted(walked: Walked, counts: ClusterCounts) -> NDArray[np.float64]:
    """Lay the counts beside their vines; NaN where there is none."""
    laid = np.full(len(walked), np.nan)
    at = places_among(counts.vines, walked.vines.ids)
    laid[at[at >= 0]] = counts.clusters[at >= 0]
    return laid


def _wanted(walked: Walked, wanted: Wanted) -> NDArray[np.float64]:
    if wanted.crop_load is not None:
        return yield_by_crop_load(walked.weights_kg, wanted.crop_load)
    return np.full(len(walked), wanted.yield_kg, dtype=np.float64)


def _thin(counted: NDArray[np.float64], wanted_kg: NDArray[np.float64], weight: Estimate | None) -> Thinned:
    if weight is None:
        return Thinned(*(np.full(len(counted), np.nan) for _ in range(5)))
    return thin(counted, wanted_kg, weight.value)
