"""Write down blocks, rows and vines."""

from __future__ import annotations

import uuid
from collections.abc import Mapping
from typing import Any

from django.db import IntegrityError

from records.access import OpenFarm, Right
from records.boundaries import read_boundary
from records.errors import AlreadyRecorded, NotFound, NotValid
from records.models import Block, Row, Vine
from records.services.storing import Stored, change, constraint_of, create_once
from records.units import columns_of_quantity

#: Quantities of a block → what they measure.
QUANTITIES = {"row_spacing": "length", "vine_spacing": "length", "declared_area": "area"}


def create_block(opened: OpenFarm, row_id: uuid.UUID | None, columns: Mapping[str, Any]) -> Stored[Block]:
    """Store a block; its name is its own on the farm."""
    opened.require(Right.MANAGE)
    try:
        return create_once(Block, opened.farm, row_id, _columns(columns))
    except IntegrityError as error:
        raise _taken(error, "block_name_once_a_farm", f"The farm has a block named {columns['name']!r}.") from error


def change_block(
    opened: OpenFarm, row_id: uuid.UUID, columns: Mapping[str, Any], *, version: int | None, reason: str = ""
) -> Block:
    """Change members of a block; the version before stays readable."""
    opened.require(Right.MANAGE)
    return change(Block, opened.farm, row_id, _columns(columns), version=version, reason=reason)


def block_of(opened: OpenFarm, row_id: uuid.UUID) -> Block:
    """Give one block of the open farm."""
    blocks = Block.objects.for_farm(opened.farm).select_related("pruning_formula", "cultivar", "cultivar_group")
    block: Block | None = blocks.filter(pk=row_id).first()
    if block is None:
        raise NotFound
    return block


def create_row(opened: OpenFarm, block: Block, row_id: uuid.UUID | None, number: int) -> Stored[Row]:
    """Store a row of a block."""
    opened.require(Right.MANAGE)
    try:
        return create_once(Row, opened.farm, row_id, {"block_id": block.pk, "number": number})
    except IntegrityError as error:
        raise _taken(error, "row_number_once_a_block", f"The block has a row {number} already.") from error


def plant_row(opened: OpenFarm, row: Row, vines: int) -> None:
    """Store vines at places 1 to ``vines`` of a row; places that have one keep it."""
    opened.require(Right.MANAGE)
    Vine.objects.bulk_create(
        [
            Vine(farm=opened.farm, block_id=row.block_id, row=row, row_number=row.number, place=place)
            for place in range(1, vines + 1)
        ],
        ignore_conflicts=True,
    )


def create_vine(opened: OpenFarm, block: Block, row_id: uuid.UUID | None, columns: Mapping[str, Any]) -> Stored[Vine]:
    """Store a vine at a place in a row of the block; ``columns`` names the row by its number."""
    opened.require(Right.MANAGE)
    number = columns["row_number"]
    row = Row.objects.for_farm(opened.farm).filter(block=block, number=number).first()
    if row is None:
        raise NotValid.at("row_number", code="no_such_row", detail=f"This block has no row {number}. Create it first.")
    try:
        return create_once(Vine, opened.farm, row_id, {"block_id": block.pk, "row_id": row.pk, **columns})
    except IntegrityError as error:
        raise _taken(
            error, "vine_", "There is a vine at this place, or with this label, in the block already."
        ) from error


def change_vine(
    opened: OpenFarm, row_id: uuid.UUID, columns: Mapping[str, Any], *, version: int | None, reason: str = ""
) -> Vine:
    """Change members of a vine; the version before stays readable."""
    opened.require(Right.MANAGE)
    return change(Vine, opened.farm, row_id, columns, version=version, reason=reason)


def vine_of(opened: OpenFarm, row_id: uuid.UUID) -> Vine:
    """Give one vine of the open farm."""
    vine: Vine | None = Vine.objects.for_farm(opened.farm).filter(pk=row_id).first()
    if vine is None:
        raise NotFound
    return vine


def _columns(told: Mapping[str, Any]) -> dict[str, Any]:
    """Spread each quantity into value and unit as sent and the canonical value; give a boundary its area."""
    columns: dict[str, Any] = {}
    for name, value in told.items():
        if name in QUANTITIES:
            columns |= columns_of_quantity(name, value, QUANTITIES[name])
        elif name == "boundary":
            columns |= _boundary_columns(value)
        else:
            columns[name] = value
    return columns


def _boundary_columns(told: Mapping[str, Any] | None) -> dict[str, Any]:
    if told is None:
        return {"boundary": None, "computed_area_m2": None}
    boundary = read_boundary(told)
    return {"boundary": boundary.as_geojson(), "computed_area_m2": boundary.area_m2()}


def _taken(error: IntegrityError, constraint: str, sentence: str) -> Exception:
    """Say in words that a place is taken; any other constraint keeps its own name for the API's table."""
    name = constraint_of(error)
    if name.startswith(constraint) and "once" in name:
        return AlreadyRecorded(sentence)
    raise error  # here, so that it keeps its cause, which knows the constraint's name
