"""Which blocks a question about a farm's cordons is about: one, or all."""

from __future__ import annotations

import uuid

from records.access import OpenFarm
from records.errors import NotValid
from records.models import Block


def block_named(opened: OpenFarm, block_id: uuid.UUID | None) -> Block | None:
    """Give the block that a question names, or None where it names none.

    Raises
    ------
    NotValid
        The farm has no such block: an empty answer would read as if nothing were wrong with it.
    """
    if block_id is None:
        return None
    block: Block | None = Block.objects.for_farm(opened.farm).filter(pk=block_id).first()
    if block is None:
        raise NotValid.at("block", code="no_such_block", detail="The block is not among this farm's.")
    return block


def blocks_asked(opened: OpenFarm, block_id: uuid.UUID | None) -> dict[uuid.UUID, str]:
    """Give the names of the blocks asked about, by id.

    Raises
    ------
    NotValid
        The farm has no such block.
    """
    one = block_named(opened, block_id)
    if one is not None:
        return {one.pk: one.name}
    return dict(Block.objects.for_farm(opened.farm).order_by("name", "pk").values_list("pk", "name"))
