"""Write down, correct, withdraw and reinstate a record of any kind."""

from __future__ import annotations

import uuid
from collections.abc import Mapping
from datetime import datetime
from decimal import Decimal
from typing import Any, Final

from django.db import IntegrityError, transaction
from django.db.models.functions import Now

from records.access import OpenFarm, Right
from records.constraints import CONSTRAINTS
from records.errors import AlreadyRecorded, Fault, NotFound, NotValid
from records.kinds import Kind, Place
from records.kinds.members import Measured, Member, Stage
from records.kinds.naming import range_name
from records.models import (
    Block,
    BudSample,
    ClusterCount,
    CordonInspection,
    DormantRecord,
    Farm,
    HarvestRecord,
    ShootCount,
    Vine,
    VineEvent,
)
from records.models.recorded import Recorded
from records.seasons import SeasonNotImplied, resolve_season
from records.services.storing import Stored, change, constraint_of, create_once
from records.units import Quantity, columns_of_quantity

MODELS: Final[dict[str, type[Recorded]]] = {
    "dormant_record": DormantRecord,
    "bud_sample": BudSample,
    "shoot_count": ShootCount,
    "cluster_count": ClusterCount,
    "harvest_record": HarvestRecord,
    "cordon_inspection": CordonInspection,
    "vine_event": VineEvent,
}
Said = Mapping[str, Any]
#: In the name of every constraint by which one live record has its place alone.
ONCE_A_LIVE: Final = "_once_a_live_"


def record(opened: OpenFarm, kind: Kind, row_id: uuid.UUID | None, said: Said) -> Stored[Recorded]:
    """Store one record; the same request sent again stores nothing new.

    ``said`` holds the members of the kind and ``vine_id`` or ``block_id``, ``observed_at``, ``season``, ``note`` and
    ``device``; what it does not hold was not said.

    Raises
    ------
    NotValid
        The farm has no such vine or block, the season cannot be told, or a rule of the kind refuses it.
    AlreadyRecorded
        The place is taken by a live record with another id.
    IdInUse, Withdrawn
        The id is known, with other content or withdrawn.
    """
    opened.require(Right.RECORD)
    model = MODELS[kind.name]
    columns = {**_place(opened.farm, kind, said), **columns_of(opened.farm, kind, said)}
    try:
        return create_once(model, opened.farm, row_id, columns, provenance=provenance_of(opened, said))
    except IntegrityError as error:
        if ONCE_A_LIVE not in constraint_of(error):
            raise
        raise _place_taken(error, opened, kind, columns) from error


def correct(
    opened: OpenFarm, kind: Kind, row_id: uuid.UUID, said: Said, *, version: int | None, reason: str
) -> Recorded:
    """Change members of a record; the version before stays readable."""
    opened.require(Right.RECORD)
    columns = {**member_columns(kind, said, only_said=True)}
    columns |= {name: said[name] for name in ("note", "device") if name in said}
    return change(MODELS[kind.name], opened.farm, row_id, columns, version=version, reason=reason)


def withdraw(opened: OpenFarm, kind: Kind, row_id: uuid.UUID, *, version: int | None, reason: str) -> Recorded:
    """Withdraw a record: it stays as a tombstone, and a late phone cannot bring it back."""
    opened.require(Right.RECORD)
    model = MODELS[kind.name]
    standing: Recorded | None = model.objects.for_farm(opened.farm).filter(pk=row_id).first()
    if standing is not None and standing.is_withdrawn:
        return standing  # asked for again, after a reply that was lost
    return change(model, opened.farm, row_id, {"withdrawn_at": Now()}, version=version, reason=reason)


def reinstate(opened: OpenFarm, kind: Kind, row_id: uuid.UUID, *, version: int | None, reason: str) -> Recorded:
    """Let a withdrawn record stand again, by an explicit call only.

    Raises
    ------
    AlreadyRecorded
        Another live record has taken its place meanwhile.
    """
    opened.require(Right.RECORD)
    model = MODELS[kind.name]
    standing: Recorded | None = model.objects.for_farm(opened.farm).filter(pk=row_id).first()
    if standing is not None and not standing.is_withdrawn:
        return standing
    try:
        with transaction.atomic():
            return change(
                model, opened.farm, row_id, {"withdrawn_at": None}, version=version, reason=reason, revives=True
            )
    except IntegrityError as error:
        if ONCE_A_LIVE not in constraint_of(error):
            raise
        columns = {name: getattr(standing, name, None) for name in _PLACES}
        raise _place_taken(error, opened, kind, columns) from error


def record_of(opened: OpenFarm, kind: Kind, row_id: uuid.UUID) -> Recorded:
    """Give one record of the open farm, live or withdrawn."""
    found: Recorded | None = MODELS[kind.name].objects.for_farm(opened.farm).filter(pk=row_id).first()
    if found is None:
        raise NotFound
    return found


def columns_of(farm: Farm, kind: Kind, said: Said) -> dict[str, Any]:
    """Give the columns of what was said: quantities as sent and canonical, and the season that the date implies."""
    columns = member_columns(kind, said)
    columns |= {"observed_at": said.get("observed_at"), "season": season_of_record(farm, kind, said)}
    return columns | {"note": said.get("note", ""), "device": said.get("device", "")}


def member_columns(kind: Kind, said: Said, *, only_said: bool = False) -> dict[str, Any]:
    """Spread the members of a kind into their columns.

    Raises
    ------
    NotValid
        A quantity lies outside its bounds.
    """
    columns: dict[str, Any] = {}
    for member in kind.members:
        if member.name in said or not only_said:
            columns.update(_columns(kind, member, said.get(member.name, _unsaid(member))))
    return columns


def _unsaid(member: Member) -> Any:
    default = getattr(member, "default", None)
    return "" if hasattr(member, "longest") else default


def _columns(kind: Kind, member: Member, value: Any) -> dict[str, Any]:
    if isinstance(member, Measured):
        return _quantity(kind, member, value)
    if isinstance(member, Stage):
        scale, code = member.columns
        return {scale: value["scale"] if value else None, code: value["code"] if value else None}
    return {member.name: value}


def _quantity(kind: Kind, member: Measured, quantity: Quantity | None) -> dict[str, Decimal | str | None]:
    columns = columns_of_quantity(member.name, quantity, member.dimension)
    exact = columns[member.canonical]
    if isinstance(exact, Decimal) and not member.low <= exact <= member.high:
        raise _out_of_range(kind, member)
    return columns


def _out_of_range(kind: Kind, member: Measured) -> NotValid:
    code, path, sentence = CONSTRAINTS[range_name(kind.name, member)]
    return NotValid(sentence, faults=(Fault(path, code, sentence),))


_PLACES: Final = ("block_id", "vine_id", "season", "picking")


def _place(farm: Farm, kind: Kind, said: Said) -> dict[str, Any]:
    """Give block and vine, held together: a vine brings its block, and contradicts another."""
    vine_id, block_id = said.get("vine_id"), said.get("block_id")
    if vine_id is not None:
        vine = Vine.objects.for_farm(farm).filter(pk=vine_id).only("id", "block_id").first()
        if vine is None:
            raise no_such("vine")
        if block_id not in {None, vine.block_id}:
            raise NotValid.at("block", code="not_its_block", detail="The vine stands in another block. Leave one out.")
        return {"block_id": vine.block_id, "vine_id": vine_id}
    if kind.place is Place.VINE or block_id is None:
        raise NotValid.at("vine", code="required", detail="Name the vine, or the block where the record is about one.")
    if not Block.objects.for_farm(farm).filter(pk=block_id).exists():
        raise no_such("block")
    return {"block_id": block_id, "vine_id": None}


def no_such(what: str) -> NotValid:
    """Give the refusal of a vine or block that the farm does not have."""
    return NotValid.at(what, code=f"no_such_{what}", detail=f"This farm has no {what} with this id.")


def season_of_record(farm: Farm, kind: Kind, said: Said) -> int:
    """Give the one season of a record.

    Raises
    ------
    NotValid
        The date does not say it and it was not said, or the two contradict each other.
    """
    observed_at, stated = said.get("observed_at"), said.get("season")
    if observed_at is None:
        if stated is None:
            raise NotValid.at("season", code="season_missing", detail="Without a date the season must be said.")
        return int(stated)
    try:
        return resolve_season(
            observed_at, stated, time_zone=farm.time_zone, hemisphere=farm.hemisphere, time=kind.time.value
        )
    except SeasonNotImplied as error:
        raise NotValid.at("season", code="season_not_implied", detail=str(error)) from error


def provenance_of(opened: OpenFarm, said: Said) -> dict[str, Any]:
    """Give who sent a record, by which key and app, and the offset of the clock: one instant is one instant."""
    key = opened.caller.key
    return {
        "recorded_by": opened.caller.person,
        "api_key": key,
        "app_name": key.app_name if key else "",
        "observed_offset_minutes": offset_minutes(said.get("observed_at")),
    }


def offset_minutes(observed_at: datetime | None) -> int | None:
    """Give the offset of the observer's clock from UTC."""
    offset = observed_at.utcoffset() if observed_at else None
    return None if offset is None else int(offset.total_seconds() // 60)


def _place_taken(error: IntegrityError, opened: OpenFarm, kind: Kind, columns: Mapping[str, Any]) -> Exception:
    """Say which live record stands in the place."""
    name = constraint_of(error)
    keys = ["block_id" if "_block_" in name else "vine_id", "season", *(["picking"] if "picking" in name else [])]
    same_place = {key: columns[key] for key in keys}
    rows = MODELS[kind.name].objects.for_farm(opened.farm).filter(**same_place, withdrawn_at=None)
    code, path, sentence = CONSTRAINTS[name]
    current = rows.exclude(vine_id=None).first() if "_block_" not in name else rows.filter(vine_id=None).first()
    return AlreadyRecorded(
        f"{sentence} Change that one with PATCH and If-Match.", faults=(Fault(path, code, sentence),), current=current
    )
