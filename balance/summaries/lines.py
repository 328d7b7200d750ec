"""Blocks with what is kept of their seasons: what every summary is made of, read with the same few queries for all."""

from __future__ import annotations

import uuid
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from functools import cached_property, lru_cache
from typing import Final, NamedTuple

from django.db.backends.base.base import BaseDatabaseWrapper

from balance.crops.block_crops import BlockLoad, Crop, firmest_or_why, loads_of
from balance.formulas.crops.winters import winter_of
from balance.ranges import AssignedRange, verdict_on
from balance.reports.facts import Judged
from balance.reports.lines.standing import Counts, standing_by
from balance.summaries.block_heads import BlockHead, heads_of
from balance.summaries.crop_ranges import crop_ranges_of
from balance.summaries.due_tasks import Work, work_of
from balance.summaries.filters import Filters
from balance.summaries.reading_from import read_summaries
from balance.summaries.rows import MOST_ROWS, Row, rows_of
from records.errors import NotFound, NotValid
from records.models import Farm

FARM: Final = "farm"
BLOCK: Final = "block"
PORTFOLIO: Final = "portfolio"
#: As reports round it: a mean of whole counts that is off by less than a millionth of a node is on target.
_DECIMALS: Final = 6
#: A block and season says something when any of these is there.
_NEWEST: Final = """
    SELECT farm_id, max(season) FROM block_season
    WHERE farm_id = ANY(%(farms)s)
      AND (farm_id, block_id) IN (SELECT * FROM unnest(%(of_farms)s::uuid[], %(blocks)s::uuid[]))
      AND records + harvest_records + inspections + bud_samples + shoot_counts + cluster_counts > 0
    GROUP BY farm_id
"""


@dataclass(frozen=True)
class Scope:
    """What a summary is about: the farms, which are open, and which of their blocks."""

    kind: str
    farms: Sequence[Farm]
    filters: Filters = field(default_factory=Filters)
    block: uuid.UUID | None = None


class _Weighed(NamedTuple):
    """What ``winter_of`` takes of the prunings of a winter."""

    season: int
    n: int
    mean: float
    deviation: float | None
    population: int


def _weighed(row: Row | None) -> _Weighed | None:
    if row is None or not row.weighed or row.weight_mean is None:
        return None
    return _Weighed(row.season, row.weighed, row.weight_mean, row.weight_deviation, row.standing)


@lru_cache(maxsize=16_384)
def _load(crop: Crop, weighed: _Weighed | None, standing: int) -> BlockLoad:
    """Give the firmest crop load: the same sides are the same load, and a dashboard asks for them all day."""
    return firmest_or_why(loads_of(crop, winter_of(*weighed) if weighed else None, standing))


@dataclass(frozen=True)
class Line:
    """One block in one season, with the seasons around it.

    ``season`` is None where nothing was ever recorded; ``rows`` are by season, and a season without one has no records.
    """

    farm: Farm
    head: BlockHead
    season: int | None
    rows: Mapping[int, Row]
    assigned: AssignedRange | None
    work: Work

    @property
    def row(self) -> Row | None:
        return None if self.season is None else self.rows.get(self.season)

    def load_of(self, season: int) -> BlockLoad:
        """Give the crop load of a harvest on the firmest basis; without a number it says why."""
        row, after = self.rows.get(season), self.rows.get(season + 1)
        crop, standing = (row.crop, row.standing) if row else (Crop(season), 0)
        return _load(crop, _weighed(after), standing)

    def verdict_of(self, load: BlockLoad) -> str | None:
        """Hold a crop load against the range that is assigned, if one is."""
        return verdict_on(load.quotient.value, self.assigned)

    def judged_in(self, season: int) -> Judged | None:
        """Give the crop load of one harvest with its verdict; None without a number."""
        load = self.load_of(season)
        return None if load.quotient.value is None else Judged(season, load, self.verdict_of(load))

    @cached_property
    def judged(self) -> Judged | None:
        """The crop load of this harvest, else of the one before, as reports judge a block by."""
        if self.season is None:
            return None
        return self.judged_in(self.season) or self.judged_in(self.season - 1)

    @property
    def counts(self) -> Counts | None:
        """The counts against the targets; None where there is none to judge."""
        return counts_in(self.row)

    @cached_property
    def standing(self) -> tuple[str, str]:
        """Where the block stands, and why, as its report says it."""
        return standing_by(self.season or 0, self.judged, self.assigned, lambda: self.counts)


def counts_in(row: Row | None) -> Counts | None:
    """Give how the counts of a block and season lie against the targets; None where there is none to judge."""
    if row is None or not row.judged:
        return None
    return Counts(
        judged=row.judged,
        too_many=row.too_many,
        too_few=row.too_few,
        difference=round((row.difference_sum or 0.0) / row.judged, _DECIMALS),
        tolerance=round((row.tolerance_sum or 0.0) / row.judged, _DECIMALS),
    )


@dataclass(frozen=True)
class Wanted:
    """Which seasons are read: the one asked for, else the newest of each farm or of all, and those around it.

    ``first`` is read from even where that is further back than ``back`` seasons; ``not_before`` gives each farm a
    season that it is asked about at the least, where none is asked for.
    """

    season: int | None = None
    first: int | None = None
    back: int = 1
    ahead: int = 1
    not_before: Mapping[uuid.UUID, int] | None = None
    with_work: bool = True


@dataclass(frozen=True)
class Read:
    """What was read: lines by farm and block name, and as of when it holds."""

    scope: Scope
    season: int | None
    as_of: datetime
    lines: Sequence[Line]

    @property
    def rows(self) -> list[Row]:
        """The rows of the season, of those blocks that have one."""
        return [line.row for line in self.lines if line.row is not None]


def read_lines(scope: Scope, wanted: Wanted) -> Read:
    """Read the blocks of a scope with the seasons that are wanted.

    Raises
    ------
    NotFound
        The farm has no such block.
    NotValid
        A filter names what nothing has, or there is more than is summed up at once.
    """
    farms = {farm.pk: farm for farm in scope.farms}
    heads = heads_of(farms, scope.block)
    if scope.block is not None and not heads:
        raise NotFound
    heads = sorted(scope.filters.blocks_among(heads), key=lambda head: _by_name(farms[head.farm_id], head))

    def read(within: BaseDatabaseWrapper, as_of: datetime) -> Read:
        return _read(within, as_of, scope, wanted, heads)

    return read_summaries(list(farms), read)


def _read(
    within: BaseDatabaseWrapper, as_of: datetime, scope: Scope, wanted: Wanted, heads: Sequence[BlockHead]
) -> Read:  # fmt: skip
    blocks = [head.id for head in heads]
    seasons, season = _seasons(within, scope, wanted, heads)
    told = list(seasons.values())
    rows: dict[tuple[uuid.UUID, uuid.UUID], dict[int, Row]] = {}
    if told and blocks:
        first, last = min(told) - wanted.back if wanted.first is None else wanted.first, max(told) + wanted.ahead
        for row in _bounded(rows_of([farm.pk for farm in scope.farms], first, last, blocks, within=within)):
            rows.setdefault((row.farm_id, row.block_id), {})[row.season] = row
    ranges = crop_ranges_of(within, heads)
    work = work_of(within, scope.farms, scope.block) if wanted.with_work else {}
    farms = {farm.pk: farm for farm in scope.farms}
    lines = [
        Line(
            farm=farms[head.farm_id],
            head=head,
            season=seasons.get(head.farm_id),
            rows=rows.get((head.farm_id, head.id), {}),
            assigned=ranges.get((head.farm_id, head.id)),
            work=work.get((head.farm_id, head.id)) or Work(),
        )
        for head in heads
    ]
    return Read(scope, season, as_of, lines)


def _seasons(
    within: BaseDatabaseWrapper, scope: Scope, wanted: Wanted, heads: Sequence[BlockHead]
) -> tuple[dict[uuid.UUID, int], int | None]:
    """Give the season that each farm is asked about, and the one of the whole answer where it has one."""
    farms = [farm.pk for farm in scope.farms]
    if wanted.season is not None:
        return dict.fromkeys(farms, wanted.season), wanted.season
    with within.cursor() as cursor:
        of_farms, blocks = [head.farm_id for head in heads], [head.id for head in heads]
        cursor.execute(_NEWEST, {"farms": farms, "of_farms": of_farms, "blocks": blocks})
        newest: dict[uuid.UUID, int] = dict(cursor.fetchall())
    if wanted.not_before is not None:
        least = wanted.not_before
        return {farm: max(least[farm], newest.get(farm, least[farm])) for farm in farms}, None
    season = max(newest.values(), default=None)
    return ({} if season is None else dict.fromkeys(farms, season)), season


def _bounded(rows: list[Row]) -> list[Row]:
    if len(rows) >= MOST_ROWS:
        raise NotValid.at(
            "first",
            code="too_many_seasons",
            detail=f"More than {MOST_ROWS:,} blocks and seasons would have to be read. Ask for fewer seasons, or "
            "narrow by cultivar=, training=, region= or farm=.",
        )
    return rows


def _by_name(farm: Farm, head: BlockHead) -> tuple[str, str, str, str]:
    return farm.name.casefold(), str(farm.pk), head.name.casefold(), str(head.id)
