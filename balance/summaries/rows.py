"""Read what is kept of blocks and seasons: one row a block and season, of one farm or of many."""

from __future__ import annotations

import json
import uuid
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, fields
from typing import Any, Final

from django.db import connection
from django.db.backends.base.base import BaseDatabaseWrapper

from balance.crops.block_crops import Crop
from balance.formulas.crops.winters import Winter, winter_of
from balance.summaries.sql import BIN_KG, BINS, QUANTILES

__all__ = ["BINS", "BIN_KG", "QUANTILES", "Row", "rows_of"]

#: Farms times blocks times seasons; more are asked for apart.
MOST_ROWS: Final = 20_000


@dataclass(frozen=True)
class Row:
    """One block in one season; ``BlockSeason`` says what each member is, the units stand there, too."""

    farm_id: uuid.UUID
    block_id: uuid.UUID
    season: int
    places: int
    missing: int
    young_vines: int
    records: int
    weighed: int
    zero_weights: int
    far_out_weights: int
    without_resolution: int
    guessed: int
    weight_sum: float | None
    weight_mean: float | None
    weight_deviation: float | None
    weight_least: float | None
    weight_most: float | None
    weight_quantiles: list[float] | None
    weight_bins: list[int] | None
    targets: int
    target_sum: float | None
    below_range: int
    above_range: int
    in_training: int
    without_formula: int
    counted: int
    kept_sum: float | None
    judged: int
    too_many: int
    too_few: int
    difference_sum: float | None
    tolerance_sum: float | None
    harvest_records: int
    block_recorded: bool
    block_yield: float | None
    sample_yield: float | None
    sample_vines: int
    pairs: int
    pairs_crop: float | None
    pairs_wood: float | None
    vines_picked: int
    vine_yield_mean: float | None
    vine_yield_deviation: float | None
    vine_yield_quantiles: list[float] | None
    bud_samples: int
    shoot_counts: int
    cluster_counts: int
    inspections: int
    cordons: int
    cordons_by_position: int
    living_positions: int
    blank_positions: int
    cordons_by_length: int
    blank_length: float | None
    cordon_length: float | None
    cases: dict[str, int]

    @property
    def standing(self) -> int:
        """Vines that stand: places but for the missing."""
        return self.places - self.missing

    @property
    def says_anything(self) -> bool:
        """Whether anything of the season is recorded at all."""
        return bool(
            self.records
            or self.harvest_records
            or self.inspections
            or self.bud_samples
            or self.shoot_counts
            or self.cluster_counts
        )

    @property
    def winter(self) -> Winter | None:
        """The prunings of the winter before the harvest, as the crop load takes them; None where none was weighed."""
        if not self.weighed or self.weight_mean is None:
            return None
        return winter_of(self.season, self.weighed, self.weight_mean, self.weight_deviation, self.standing)

    @property
    def crop(self) -> Crop:
        """What the season bore."""
        return Crop(
            season=self.season,
            block_recorded=self.block_recorded,
            block_kg=self.block_yield,
            sample_kg=self.sample_yield,
            sample_vines=self.sample_vines,
            pairs=self.pairs,
            pairs_crop_kg=self.pairs_crop or 0.0,
            pairs_wood_kg=self.pairs_wood or 0.0,
        )


_COLUMNS: Final = tuple(each.name for each in fields(Row))
_READ: Final = f"""
    SELECT {", ".join(_COLUMNS[:-1])}, cases::text FROM block_season
    WHERE farm_id = ANY(%(farms)s) AND season BETWEEN %(first)s AND %(last)s
      AND (%(blocks)s::uuid[] IS NULL OR block_id = ANY(%(blocks)s))
    ORDER BY farm_id, block_id, season LIMIT %(most)s
"""  # noqa: S608 - joined from constants


def rows_of(
    farms: Iterable[uuid.UUID],
    first: int,
    last: int,
    blocks: Sequence[uuid.UUID] | None = None,
    *,
    within: BaseDatabaseWrapper | None = None,
) -> list[Row]:
    """Give the rows of open farms, seasons ``first`` to ``last``, by farm, block and season; of some blocks, or of all.

    ``within`` is the connection that reads: the primary's, or a replica's.  Call ``balance.summaries.keeping.settle``
    for these farms before, on the primary.
    """
    asked: dict[str, Any] = {
        "farms": sorted(set(farms)),
        "first": first,
        "last": last,
        "blocks": None if blocks is None else list(blocks),
        "most": MOST_ROWS,
    }
    with (within or connection).cursor() as cursor:
        cursor.execute(_READ, asked)
        return [Row(*[*row[:-1], json.loads(row[-1])]) for row in cursor.fetchall()]
