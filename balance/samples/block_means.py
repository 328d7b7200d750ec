"""The mean pruning weight of each block of a farm in one season, and how many vines it is of: one query for all."""

from __future__ import annotations

import uuid
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from django.db import connection

from balance.formulas.samples.shrinkage import Group, Shrinkage, ShrunkenMean, shrink
from balance.missing_vines import NEWEST_FIRST
from balance.seasons_on_record import newest_season_of
from records.access import OpenFarm
from records.errors import NotValid
from records.models import Cultivar, DormantRecord

#: More blocks than this are not answered for at once.
MOST_BLOCKS: Final = 2000

_MEANS: Final = f"""
    WITH weighed AS (
        SELECT block_id, count(*) AS n, avg(weight) AS mean, stddev_samp(weight) AS deviation
        FROM (SELECT block_id, pruning_weight_kg::float8 AS weight FROM dormant_record
              WHERE farm_id = %(farm)s AND season = %(season)s AND withdrawn_at IS NULL
                AND pruning_weight_kg IS NOT NULL) AS weights
        GROUP BY block_id),
    planted AS (SELECT block_id, count(*) AS vines FROM vine WHERE farm_id = %(farm)s GROUP BY block_id),
    newest AS (
        SELECT DISTINCT ON (vine_id) block_id, event FROM vine_event
        WHERE farm_id = %(farm)s AND season <= %(season)s AND withdrawn_at IS NULL
        ORDER BY vine_id, {NEWEST_FIRST}),
    gone AS (SELECT block_id, count(*) AS vines FROM newest WHERE event = 'missing' GROUP BY block_id)
    SELECT block.id, block.name, block.cultivar_id, coalesce(weighed.n, 0), weighed.mean, weighed.deviation,
           greatest(coalesce(planted.vines, 0) - coalesce(gone.vines, 0), coalesce(weighed.n, 0))
    FROM block
    LEFT JOIN weighed ON weighed.block_id = block.id
    LEFT JOIN planted ON planted.block_id = block.id
    LEFT JOIN gone ON gone.block_id = block.id
    WHERE block.farm_id = %(farm)s AND (%(cultivar)s::text IS NULL OR block.cultivar_id = %(cultivar)s)
    ORDER BY block.name, block.id
    LIMIT %(most)s
"""  # noqa: S608 - joined from constants


@dataclass(frozen=True)
class BlockMean:
    """What was weighed in one block; mean and standard deviation [kg] are None where too few vines were.

    ``vines`` is how many the mean is about: those that stand, and at least those that were weighed.
    """

    block: uuid.UUID
    name: str
    cultivar: str | None
    n: int
    mean: float | None
    standard_deviation: float | None
    vines: int


def block_means(opened: OpenFarm, season: int, cultivar: Cultivar | None = None) -> list[BlockMean]:
    """Give the means of all blocks of a farm in the order of their names, or of those of one cultivar.

    Raises
    ------
    NotValid
        The farm has more blocks than are answered for at once.
    """
    with connection.cursor() as cursor:
        told: dict[str, uuid.UUID | int | str | None] = {
            "farm": opened.farm.pk,
            "zone": opened.farm.time_zone,
            "season": season,
            "cultivar": cultivar.code if cultivar else None,
            "most": MOST_BLOCKS + 1,
        }
        cursor.execute(_MEANS, told)
        means = [BlockMean(*row) for row in cursor.fetchall()]
    if len(means) > MOST_BLOCKS:
        raise NotValid.at(
            "cultivar",
            code="too_many_blocks",
            detail=f"More than {MOST_BLOCKS:,} blocks are not answered for at once. Ask for one cultivar.",
        )
    return means


@dataclass(frozen=True)
class DrawnTogether:
    """The means of blocks drawn towards that of the farm, by their ids; a block without a weight has none."""

    told: Shrinkage
    of_block: dict[uuid.UUID, ShrunkenMean]


def drawn_together(blocks: Sequence[BlockMean]) -> DrawnTogether:
    """Draw the means of blocks towards the mean of all of them."""
    weighed = [each for each in blocks if each.mean is not None]
    told = shrink([Group(each.n, each.mean or 0.0, each.standard_deviation, each.vines) for each in weighed])
    return DrawnTogether(told, {each.block: mean for each, mean in zip(weighed, told.means, strict=True)})


def newest_season_of_farm(opened: OpenFarm) -> int | None:
    """Give the newest season in which any vine of the farm has a dormant record."""
    records = DormantRecord.objects.for_farm(opened.farm).filter(withdrawn_at=None)
    return newest_season_of(records)
