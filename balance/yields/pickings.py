"""The pickings of one harvest as they were written down: of the whole block, of samples, and of single vines."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Final

from django.db.models import Count, Sum

from records.access import OpenFarm
from records.models import Block, HarvestRecord

#: More pickings than this are counted and not listed each.
MOST_LISTED: Final = 30
_LISTED: Final = (
    "scope", "picking", "vines_picked", "yield_kg", "marketable_yield_kg", "clusters", "cluster_weight_kg",
    "berry_weight_kg", "soluble_solids_brix", "ph", "titratable_acidity_g_per_l", "reference_acid",
)  # fmt: skip


@dataclass(frozen=True)
class Pickings:
    """What was picked of a block in one season.

    Attributes
    ----------
    count : int
        Pickings of the block and of samples.
    listed : list of dict
        The first of them: of the block, then of samples, in the order of the pickings.
    of_vines : int
        Pickings of single vines.
    weighed_of_vines : int
        Of these, weighed.
    vines_kg : float or None
        What those weighed together [kg].
    """

    count: int
    listed: list[dict[str, Any]]
    of_vines: int
    weighed_of_vines: int
    vines_kg: float | None


def pickings_of(opened: OpenFarm, block: Block, season: int) -> Pickings:
    """Read the pickings of one season."""
    live = HarvestRecord.objects.for_farm(opened.farm).filter(block=block, season=season, withdrawn_at=None)
    several, single = live.exclude(scope="vine"), live.filter(scope="vine")
    sums = single.aggregate(all=Count("id"), weighed=Count("yield_kg"), kg=Sum("yield_kg"))
    return Pickings(
        count=several.count(),
        listed=list(several.order_by("scope", "picking", "observed_at", "id").values(*_LISTED)[:MOST_LISTED]),
        of_vines=sums["all"],
        weighed_of_vines=sums["weighed"],
        vines_kg=None if sums["kg"] is None else float(sums["kg"]),
    )
