"""Which blocks a question about a farm's cordons is about: one, or all."""

from __future__ import annotations

import uuid

from records.access import OpenFarm
from records.errors import NotValid
from records.models import Block


def blocks_asked(opened: OpenFarm, block_id: uuid.UUID | None) -> dict[uuid.UUID, str]:
    """Give the names of the blocks asked about, by id.

    Raises
    ------
    NotValid
        The farm has no such block: an empty answer would read as if nothing were wrong with it.
    """
    blocks = Block.objects.for_farm(opened.farm).order_by("name", "pk")
    names = dict((blocks if block_id is None else blocks.filter(pk=block_id)).values_list("pk", "name"))
    if block_id is not None and not names:
        raise NotValid.at("block", code="no_such_block", detail="The block is not among this farm's.")
    return names
