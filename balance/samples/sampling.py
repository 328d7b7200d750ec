"""Which vines of a block to weigh, and what the weights of some say of all."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from datetime import datetime
from typing import Final
from zoneinfo import ZoneInfo

import numpy as np
from django.db import connection
from numpy.typing import NDArray

from balance.formulas.counting import counted
from balance.formulas.samples.row_groups import row_groups
from balance.formulas.samples.sample_draw import STRATIFIED, stratified, systematic, walk_order
from balance.formulas.samples.sample_size import (
    DEFAULT_REASON,
    DEFAULT_VARIATION,
    FEWEST_FOR_A_SPREAD,
    LARGEST_VARIATION,
    SampleSize,
    expected_error,
    quantile_of,
    vines_needed,
)
from balance.missing_vines import missing_among
from balance.walking import Walked, walk
from records.access import OpenFarm
from records.errors import NotValid
from records.models import Block, Farm
from records.seasons import implied_season

#: More groups than about six gain little (Cochran 1977, from memory), and a vine in each is soon not to be had.
ROW_GROUPS: Final = 6

_SPREAD: Final = """
    SELECT season, count(*), 100 * stddev_samp(weight) / avg(weight)
    FROM (SELECT season, pruning_weight_kg::float8 AS weight FROM dormant_record
          WHERE farm_id = %s AND block_id = %s AND season < %s AND withdrawn_at IS NULL
            AND pruning_weight_kg IS NOT NULL) AS weighed
    GROUP BY season
    HAVING count(*) >= %s AND avg(weight) > 0 AND 100 * stddev_samp(weight) <= %s * avg(weight)
    ORDER BY season DESC LIMIT 1
"""


@dataclass(frozen=True)
class Spread:
    """How unlike the vines are taken to be, and why: from the block's own weights of a season, or the default."""

    variation: float
    season: int | None = None
    weights: int | None = None
    reason: str | None = None

    @property
    def taken_from(self) -> str:
        return "default" if self.season is None else "block"


@dataclass(frozen=True)
class Wanted:
    """What somebody asks of a sample: how close [% of the mean], how sure [%], or how many vines outright."""

    error: float
    confidence: float
    vines: int | None = None


@dataclass(frozen=True)
class Drawing:
    """How vines are drawn: by which method, from which seed, from how many groups of rows, walked to in which way."""

    method: str
    seed: int
    groups: int = ROW_GROUPS
    serpentine: bool = False


@dataclass(frozen=True)
class Frame:
    """The vines of a block in walking order, those that stand among them, and what was weighed in the season."""

    season: int
    walked: Walked
    stands: NDArray[np.bool_]

    @property
    def population(self) -> int:
        """Vines that the mean is about: those that stand, and those that were weighed though they are gone now."""
        return int(np.count_nonzero(self.stands | ~np.isnan(self.walked.weights_kg)))

    @property
    def mark(self) -> str:
        """Sixteen digits that stand for just these vines in just this order."""
        return hashlib.sha256(self.walked.vines.ids[self.stands].tobytes()).hexdigest()[:16]


@dataclass(frozen=True)
class Plan:
    """How many vines to weigh and which; ``drawn`` are positions among the block's vines, as they are walked to."""

    frame: Frame
    spread: Spread
    size: SampleSize | None
    drawn: NDArray[np.intp]


def season_ahead(farm: Farm, now: datetime) -> int:
    """Give the season whose dormant months it is on the farm, or else that of the next ones."""
    local = now.astimezone(ZoneInfo(farm.time_zone))
    for months in range(12):
        year, month = divmod(local.year * 12 + local.month - 1 + months, 12)
        season = implied_season(year, month + 1, hemisphere=farm.hemisphere)
        if season is not None:
            return season
    raise AssertionError("every hemisphere has a winter")


def frame_of(opened: OpenFarm, block: Block, season: int) -> Frame:
    """Give the vines that a sample is drawn from.

    Raises
    ------
    NotValid
        The block has too many vines.
    """
    walked = walk(opened, block, season, whole=True)
    return Frame(season, walked, ~missing_among(opened, block, season, walked.vines.ids))


def spread_of(opened: OpenFarm, block: Block, season: int) -> Spread:
    """Give how unlike the vines were in the newest season before this one with enough weights, or the default."""
    with connection.cursor() as cursor:
        keys = (opened.farm.pk, block.pk, season)
        cursor.execute(_SPREAD, [*keys, FEWEST_FOR_A_SPREAD, LARGEST_VARIATION])
        row = cursor.fetchone()
    if row is None:
        return Spread(DEFAULT_VARIATION, reason=DEFAULT_REASON)
    return Spread(variation=row[2], season=row[0], weights=row[1])


def plan(opened: OpenFarm, block: Block, season: int, wanted: Wanted, drawing: Drawing) -> Plan:
    """Say how many vines to weigh in a season, and draw them.

    Raises
    ------
    NotValid
        More vines are wanted than stand, or the block has too many.
    """
    frame = frame_of(opened, block, season)
    spread = spread_of(opened, block, season)
    count = int(np.count_nonzero(frame.stands))
    size = _size(wanted, spread, count)
    return Plan(frame, spread, size, _drawn(frame, drawing, size.vines if size else 0))


def _size(wanted: Wanted, spread: Spread, count: int) -> SampleSize | None:
    if count == 0:
        return None
    needed = vines_needed(wanted.error, wanted.confidence, spread.variation, count)
    if wanted.vines is None:
        return needed
    if wanted.vines > count:
        raise NotValid.at(
            "vines",
            code="out_of_range",
            detail=f"Only {counted(count, 'vine stands', 'vines stand')} in this block. Ask for at most so many.",
        )
    return SampleSize(
        vines=wanted.vines,
        without_correction=needed.without_correction,
        quantile=quantile_of(max(2, wanted.vines), wanted.confidence),
        expected_error=expected_error(wanted.vines, wanted.confidence, spread.variation, count),
    )


def _drawn(frame: Frame, drawing: Drawing, wanted: int) -> NDArray[np.intp]:
    """Draw among the vines that stand; groups of rows are made of all, so that a vine that goes missing moves none."""
    vines = frame.walked.vines
    here = np.flatnonzero(frame.stands)
    if drawing.method == STRATIFIED.code:
        names = [each.tobytes() for each in vines.ids[here]]
        chosen = stratified(names, row_groups(vines.row_numbers, drawing.groups)[here], wanted, drawing.seed)
    else:
        chosen = systematic(len(here), wanted, drawing.seed)
    drawn = here[chosen]
    order = walk_order(vines.row_numbers[drawn], vines.places[drawn], serpentine=drawing.serpentine)
    walked_to: NDArray[np.intp] = drawn[order]
    return walked_to
