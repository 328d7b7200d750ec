"""What a farm set for its cordons: for one block, or for all that have no settings of their own."""

from __future__ import annotations

import uuid
from collections.abc import Mapping
from typing import Any, Final

from django.db import IntegrityError

from balance.cordons.asked_blocks import block_named
from balance.cordons.models import CordonSettings
from records.access import OpenFarm, Right
from records.errors import AlreadyRecorded, NotFound
from records.services.storing import Stored, change, constraint_of, create_once
from records.units import columns_of_quantity

_LENGTHS: Final = ("blank_length", "dieback_length")


def set_for(
    opened: OpenFarm, settings_id: uuid.UUID | None, block_id: uuid.UUID | None, said: Mapping[str, Any]
) -> Stored[CordonSettings]:
    """Set them for a block, or for the farm; the same request sent again sets nothing new.

    Raises
    ------
    NotValid
        The farm has no such block.
    AlreadyRecorded
        There are settings for it already; the data carries them.
    """
    opened.require(Right.MANAGE)
    block_named(opened, block_id)
    try:
        return create_once(CordonSettings, opened.farm, settings_id, {"block_id": block_id, **columns_of(said)})
    except IntegrityError as error:
        if constraint_of(error) != "cordon_settings_once_a_block":
            raise
        standing = CordonSettings.objects.for_farm(opened.farm).filter(block_id=block_id).first()
        raise AlreadyRecorded(
            "There are settings for this already. Change those: send PATCH with If-Match.", current=standing
        ) from error


def change_settings(
    opened: OpenFarm, settings_id: uuid.UUID, said: Mapping[str, Any], *, version: int | None
) -> CordonSettings:
    """Change what was said; what is left out stays."""
    opened.require(Right.MANAGE)
    return change(CordonSettings, opened.farm, settings_id, columns_of(said), version=version)


def settings_of(opened: OpenFarm, settings_id: uuid.UUID) -> CordonSettings:
    """Give one row of them."""
    found: CordonSettings | None = CordonSettings.objects.for_farm(opened.farm).filter(pk=settings_id).first()
    if found is None:
        raise NotFound
    return found


def columns_of(said: Mapping[str, Any]) -> dict[str, Any]:
    """Spread what was said into its columns."""
    columns = {name: value for name, value in said.items() if name not in _LENGTHS}
    for name in _LENGTHS:
        if name in said:
            columns |= columns_of_quantity(name, said[name], "length")
    return columns
