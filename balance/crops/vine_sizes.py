"""The size of a block's vines in one winter: prunings, canes and shoots, each with its mean, interval and number."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from balance.crops.crops_by_vine import shoots_of_vines, standing_vines
from balance.formulas.crops.quotients import MOST, significant
from balance.formulas.crops.vine_size import (
    canopy_length,
    mean_cane_weight,
    pruning_weight_per_canopy_metre,
    pruning_weight_per_row_metre,
    shoots_per_canopy_metre,
)
from balance.formulas.crops.winters import CONFIDENCE
from balance.formulas.samples.sample_estimate import MeanEstimate, estimate_mean
from balance.ranges import canopies_of
from balance.walking import walk
from records.access import OpenFarm
from records.models import Block, Measure

NO_SPACING: Final = "The block's vine_spacing is not set, so the length of canopy of a vine is not known. Set it."
NOT_WEIGHED: Final = "No vine of the block was weighed in this winter."
NOT_COUNTED: Final = "No shoots of the block were counted in the summer before this winter."
NO_CANES: Final = (
    "No vine has both its prunings of this winter and its shoots, those from count nodes and the others, counted in "
    "the summer before."
)


@dataclass(frozen=True)
class Size:
    """One figure of a block: the mean over the vines that have it, or the reason why there is none."""

    estimate: MeanEstimate
    reason: str | None


@dataclass(frozen=True)
class BlockSizes:
    """The size of the vines of a block in one winter.

    ``shoots_season`` is the summer before, in which the wood that was weighed grew.
    """

    season: int | None
    shoots_season: int | None
    vines: int
    standing: int
    row_length_m: float | None
    canopies: int
    canopies_said: bool
    pruning_weight: Size
    of_measure: dict[Measure, Size]


def sizes_of(opened: OpenFarm, block: Block, season: int | None) -> BlockSizes:
    """Give the size of a block's vines in one winter; without a season nothing was measured.

    Raises
    ------
    NotValid
        The block has too many vines to be answered at once.
    """
    walked = walk(opened, block, season, whole=True)
    summer = None if season is None else season - 1
    count, every = shoots_of_vines(opened, block, summer, walked.vines)
    standing = standing_vines(opened, block, season, walked.vines)
    canopies, said = canopies_of(block)
    length = None if block.vine_spacing_m is None else float(block.vine_spacing_m)
    lengths = np.full(len(walked), np.nan if length is None else length)
    canopy = canopy_length(lengths, canopies)
    weights = walked.weights_kg
    no_weight = NOT_WEIGHED if np.isnan(weights).all() else NO_SPACING
    no_shoots = NOT_COUNTED if np.isnan(count).all() else NO_SPACING
    found = {
        Measure.PRUNING_WEIGHT_PER_CANOPY_METRE: (pruning_weight_per_canopy_metre(weights, canopy).values, no_weight),
        Measure.PRUNING_WEIGHT_PER_ROW_METRE: (pruning_weight_per_row_metre(weights, lengths).values, no_weight),
        Measure.SHOOTS_PER_CANOPY_METRE: (shoots_per_canopy_metre(count, canopy).values, no_shoots),
        Measure.MEAN_CANE_WEIGHT: (mean_cane_weight(weights, every).values, NO_CANES),
    }
    return BlockSizes(
        season=season,
        shoots_season=summer,
        vines=len(walked),
        standing=standing,
        row_length_m=length,
        canopies=canopies,
        canopies_said=said,
        pruning_weight=_size(weights, standing, NOT_WEIGHED),
        of_measure={measure: _size(values, standing, reason) for measure, (values, reason) in found.items()},
    )


def _size(values: NDArray[np.float64], standing: int, reason: str) -> Size:
    """Give the mean of the vines that have a figure; none has more than any vine can have."""
    measured = np.where(values > MOST, np.nan, values)
    count = int(np.count_nonzero(~np.isnan(measured)))
    estimate = estimate_mean(measured, CONFIDENCE, max(standing, count))
    return Size(estimate, None if estimate.mean is not None else reason)


def rounded(number: float | None) -> float | None:
    """Give a mean without the noise of its summing up."""
    return None if number is None else float(significant([number])[0])
