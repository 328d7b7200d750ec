"""Choose the range that a figure is held against: for one block, or for all blocks of the farm that chose none."""

from __future__ import annotations

import uuid
from typing import Any

from django.db import IntegrityError

from records.access import OpenFarm, Right
from records.errors import AlreadyRecorded, NotFound, NotValid, Stale
from records.models import BalanceRange, Block, RangeChoice
from records.services.storing import Stored, constraint_of, create_once


def choices_of(opened: OpenFarm) -> Any:
    """Give every choice of the farm."""
    return RangeChoice.objects.for_farm(opened.farm).select_related("range")


def choice_of(opened: OpenFarm, choice_id: uuid.UUID) -> RangeChoice:
    """Give one choice of the farm."""
    choice: RangeChoice | None = choices_of(opened).filter(pk=choice_id).first()
    if choice is None:
        raise NotFound
    return choice


def choose_range(
    opened: OpenFarm, choice_id: uuid.UUID | None, *, measure: str, chosen: BalanceRange, block_id: uuid.UUID | None
) -> Stored[RangeChoice]:
    """Choose a range that the farm may use; the same choice again changes nothing.

    Raises
    ------
    NotValid
        The range is of another measure, or the block is not the farm's.
    AlreadyRecorded
        Another range was chosen for this measure and block.
    """
    opened.require(Right.MANAGE)
    if chosen.measure != measure:
        sentence = f"{chosen.code} is a range of {chosen.measure}, not of {measure}. Choose one of this measure."
        raise NotValid.at("range", code="wrong_measure", detail=sentence)
    if block_id is not None and not Block.objects.for_farm(opened.farm).filter(pk=block_id).exists():
        raise NotValid.at("block", code="no_such_block", detail=f"This farm has no block {block_id}.")
    columns = {"measure": measure, "range_id": chosen.pk, "block_id": block_id}
    try:
        stored = create_once(RangeChoice, opened.farm, choice_id, columns)
    except IntegrityError as error:
        if constraint_of(error) != "range_choice_once_a_block_and_measure":
            raise
        stored = Stored(_same(opened, columns), created=False)
    return Stored(choice_of(opened, stored.row.pk), created=stored.created)


def remove_choice(opened: OpenFarm, choice_id: uuid.UUID, *, version: int | None) -> None:
    """Take a choice back: the catalogue's own range holds again. What it was is kept in the farm's history.

    Raises
    ------
    Stale
        The choice is at another version.
    """
    opened.require(Right.MANAGE)
    choices = RangeChoice.objects.for_farm(opened.farm).filter(pk=choice_id)
    choice = choices.select_for_update(of=("self",)).first()
    if choice is None:
        raise NotFound
    if version is not None and choice.version != version:
        raise Stale(f"The choice is at version {choice.version}, not {version}. Read it again.", current=choice)
    choices.delete()


def _same(opened: OpenFarm, columns: dict[str, Any]) -> RangeChoice:
    """Give the choice that stands at this place, if it is the one that is asked for."""
    place = {name: columns[name] for name in ("measure", "block_id")}
    standing: RangeChoice | None = choices_of(opened).filter(**place).first()
    if standing is None:  # removed at this very moment
        raise AlreadyRecorded("A range was chosen already for this measure. Send the request again.")
    if standing.range_id != columns["range_id"]:
        named = f"{standing.range.code}@{standing.range.range_version}"
        raise AlreadyRecorded(
            f"For this measure {named} was chosen already. Remove that choice first (DELETE).", current=standing
        )
    return standing
