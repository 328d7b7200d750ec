"""The bud samples of a block in one winter, pooled and each by itself, and the targets that an injury changes."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Final

import numpy as np
from django.db.models import Count, Q, QuerySet, Sum
from numpy.typing import NDArray

from balance.blocks import targets_of_block
from balance.formulas.buds.adjusted_targets import MOST_NODES
from balance.seasons_on_record import newest_season_of
from records.access import OpenFarm
from records.errors import NotValid
from records.models import Block, BudSample

#: More samples than this are pooled all the same, and not listed each.
MOST_LISTED: Final = 500
_LISTED: Final = (
    "id", "vine_id", "observed_at", "nodes_examined", "primary_alive", "secondary_alive", "first_node", "last_node",
    "canes", "cut_where",
)  # fmt: skip


@dataclass(frozen=True)
class PooledSamples:
    """The live samples of a block and season.

    ``nodes_examined`` and ``primaries_alive`` are of the samples in which primaries were read; ``with_secondaries`` has
    nodes, primaries and secondaries alive of those in which both were, and is None where there is none; ``listed`` are
    the first of them in order of time, and ``not_read`` counts the samples in which no primary was read.
    """

    season: int | None
    count: int
    not_read: int
    nodes_examined: int
    primaries_alive: int
    with_secondaries: tuple[int, int, int] | None
    listed: list[dict[str, Any]]


@dataclass(frozen=True)
class NormalTargets:
    """The targets of a block's vines without injury [nodes], NaN where a vine has none, or why there are none."""

    nodes: NDArray[np.float64]
    reason: str | None

    @property
    def known(self) -> NDArray[np.float64]:
        measured: NDArray[np.float64] = self.nodes[~np.isnan(self.nodes)]
        return measured

    @property
    def mean(self) -> float | None:
        """The mean target [nodes], to a millionth; None where there is a reason."""
        return None if self.reason else round(float(self.known.mean()), 6)


def samples_of_block(opened: OpenFarm, block: Block, season: int | None) -> PooledSamples:
    """Pool the live bud samples of a block; without a season, those of the newest that has any."""
    live = BudSample.objects.for_farm(opened.farm).filter(block=block, withdrawn_at=None)
    if season is None:
        season = newest_season_of(live)
    found = live.filter(season=season)
    sums = _sums(found)
    both = (sums["nodes_of_both"], sums["primaries_of_both"], sums["secondaries_of_both"])
    read = found.filter(primary_alive__isnull=False).order_by("observed_at", "id")
    return PooledSamples(
        season=season,
        count=sums["read"],
        not_read=sums["all"] - sums["read"],
        nodes_examined=sums["nodes"] or 0,
        primaries_alive=sums["primaries"] or 0,
        with_secondaries=None if both[0] is None else both,
        listed=list(read.values(*_LISTED)[:MOST_LISTED]),
    )


def _sums(found: QuerySet[BudSample]) -> dict[str, Any]:
    read = Q(primary_alive__isnull=False)
    both = read & Q(secondary_alive__isnull=False)
    return found.aggregate(
        all=Count("id"),
        read=Count("id", filter=read),
        nodes=Sum("nodes_examined", filter=read),
        primaries=Sum("primary_alive", filter=read),
        nodes_of_both=Sum("nodes_examined", filter=both),
        primaries_of_both=Sum("primary_alive", filter=both),
        secondaries_of_both=Sum("secondary_alive", filter=both),
    )


def normal_targets(opened: OpenFarm, block: Block, season: int | None) -> NormalTargets:
    """Give the targets that the block's vines have without injury, in the winter of the samples."""
    none = np.empty(0, dtype=np.float64)
    if season is None:
        return NormalTargets(none, "No season is known.")
    try:
        nodes = targets_of_block(opened, block, season, whole=True).targets.nodes
    except NotValid as refused:  # too large a block to be answered at once
        return NormalTargets(none, refused.detail)
    if np.isnan(nodes).all():
        return NormalTargets(nodes, f"No vine of the block has a target for season {season}; its targets say why.")
    mean = float(np.nanmean(nodes))
    if not 1 <= mean <= MOST_NODES:
        return NormalTargets(nodes, f"The mean target of {mean:g} nodes is no number of nodes to adjust.")
    return NormalTargets(nodes, None)
