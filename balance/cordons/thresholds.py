"""The thresholds by which a farm has cordons proposed for replacement, block by block."""

from __future__ import annotations

import uuid
from collections.abc import Iterable
from typing import Any, Final

from balance.cordons.models import CordonSettings
from records.access import OpenFarm

#: Each with the column that holds it in the unit that inspections are compared in.
COLUMNS: Final = {
    "blank_share": "blank_share_percent",
    "blank_length": "blank_length_m",
    "dieback": "dieback_length_m",
    "few_positions": "fewest_living_positions",
    "years_in_decline": "years_in_decline",
}
NOTHING_SET: Final = (
    "No threshold is set, neither for the block nor for the farm, so nothing is proposed: no source prints a share of "
    "blank cordon at which to act. Set your own at POST /api/v1/farms/{farm}/cordon-settings, for the farm or for one "
    "block: blank_share_percent, blank_length, dieback_length, fewest_living_positions or years_in_decline."
)


def thresholds_for(opened: OpenFarm, blocks: Iterable[uuid.UUID]) -> dict[uuid.UUID, CordonSettings]:
    """Give the settings that hold for each block: its own, else the farm's; a block without a threshold is left out.

    A block's own settings hold whole: what they leave empty is not taken from the farm's.
    """
    told: dict[uuid.UUID | None, CordonSettings] = {
        settings.block_id: settings for settings in CordonSettings.objects.for_farm(opened.farm)
    }
    nearest = {block: told.get(block) or told.get(None) for block in blocks}
    return {block: settings for block, settings in nearest.items() if settings is not None and proposes(settings)}


def proposes(settings: CordonSettings) -> bool:
    """Tell whether any threshold is set."""
    return any(getattr(settings, column) is not None for column in COLUMNS.values())


def as_arrays(thresholds: dict[uuid.UUID, CordonSettings]) -> dict[str, list[Any]]:
    """Give the thresholds column by column, as the database takes them."""
    columns = {name: [getattr(each, column) for each in thresholds.values()] for name, column in COLUMNS.items()}
    return {"blocks": list(thresholds), **columns}
