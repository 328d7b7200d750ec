"""Write down a vine's winter: its weighing, and the count that was left."""

from __future__ import annotations

import uuid
from collections.abc import Mapping
from dataclasses import dataclass, fields
from datetime import datetime
from decimal import Decimal
from typing import Any

from django.db import IntegrityError

from records.access import OpenFarm, Right
from records.errors import AlreadyRecorded, NotFound, NotValid
from records.models import DormantRecord, Vine
from records.seasons import SeasonNotImplied, resolve_season
from records.services.storing import Stored, change, constraint_of, create_once
from records.units import Quantity, to_canonical

#: A device's clock may be wrong, but not by more than this; beyond it, the record is refused, not guessed at.
LARGEST_CLOCK_LEAD_HOURS = 24
QUANTITIES = ("pruning_weight", "scale_resolution", "guessed_weight")


@dataclass(frozen=True)
class Weighing:
    """What an observer says about one vine in one winter; ``None`` means not measured."""

    vine_id: uuid.UUID
    observed_at: datetime | None
    season: int | None = None
    pruning_weight: Quantity | None = None
    scale_resolution: Quantity | None = None
    guessed_weight: Quantity | None = None
    rough_prune_margin_nodes: int | None = None
    nodes_retained: int | None = None
    scale: str = "not_stated"
    pruner: str = ""
    device: str = ""
    note: str = ""


def record_weighing(opened: OpenFarm, row_id: uuid.UUID | None, weighing: Weighing) -> Stored[DormantRecord]:
    """Store one vine's dormant record; the same request sent again stores nothing new.

    Raises
    ------
    NotFound
        The farm has no such vine.
    NotValid
        The season cannot be told from the date.
    AlreadyRecorded
        The vine has a record for this season under another id.
    """
    opened.require(Right.RECORD)
    vine = Vine.objects.for_farm(opened.farm).filter(pk=weighing.vine_id).first()
    if vine is None:
        raise NotValid.at("vine", code="no_such_vine", detail="This farm has no vine with this id.")
    columns = {"block_id": vine.block_id, **columns_of(opened, weighing)}
    try:
        return create_once(DormantRecord, opened.farm, row_id, columns, provenance=provenance_of(opened, weighing))
    except IntegrityError as error:
        if constraint_of(error) != "dormant_record_once_a_vine_and_season":
            raise
        raise _already_recorded(opened, vine, columns["season"]) from error


def _already_recorded(opened: OpenFarm, vine: Vine, season: int) -> AlreadyRecorded:
    current = DormantRecord.objects.for_farm(opened.farm).get(vine=vine, season=season)
    return AlreadyRecorded(
        f"This vine has a dormant record for season {season} already. Change that one with PATCH and If-Match.",
        current=current,
    )


def correct_weighing(
    opened: OpenFarm, row_id: uuid.UUID, changes: Mapping[str, Any], *, version: int | None, reason: str
) -> DormantRecord:
    """Change members of a dormant record; the version before stays readable."""
    opened.require(Right.RECORD)
    columns: dict[str, Any] = {}
    for name, value in changes.items():
        columns.update(quantity_columns(name, value) if name in QUANTITIES else {name: value})
    return change(DormantRecord, opened.farm, row_id, columns, version=version, reason=reason)


def columns_of(opened: OpenFarm, weighing: Weighing) -> dict[str, Any]:
    """Give the columns of a weighing: quantities as sent and in kilograms, the season that its date implies."""
    columns: dict[str, Any] = {}
    for each in fields(weighing):
        value = getattr(weighing, each.name)
        columns.update(quantity_columns(each.name, value) if each.name in QUANTITIES else {each.name: value})
    columns["season"] = _season(opened, weighing)
    return columns


def quantity_columns(name: str, quantity: Quantity | None) -> dict[str, Decimal | str | None]:
    """Give the three columns of a mass: value and unit as sent, and the exact kilograms."""
    if quantity is None:
        return {f"{name}_value": None, f"{name}_unit": None, f"{name}_kg": None}
    return {
        f"{name}_value": quantity.value,
        f"{name}_unit": quantity.unit,
        f"{name}_kg": to_canonical(quantity, "mass"),
    }


def _season(opened: OpenFarm, weighing: Weighing) -> int:
    farm = opened.farm
    if weighing.observed_at is None:
        if weighing.season is None:
            raise NotValid.at("season", code="season_missing", detail="Without a date the season must be said.")
        return weighing.season
    try:
        return resolve_season(
            weighing.observed_at, weighing.season, time_zone=farm.time_zone, hemisphere=farm.hemisphere
        )
    except SeasonNotImplied as error:
        raise NotValid.at("season", code="season_not_implied", detail=str(error)) from error


def _offset_minutes(observed_at: datetime | None) -> int | None:
    offset = observed_at.utcoffset() if observed_at else None
    return None if offset is None else int(offset.total_seconds() // 60)


def provenance_of(opened: OpenFarm, weighing: Weighing) -> dict[str, Any]:
    """Give who sent a record, by which key and app, and the offset of the clock: one instant is one instant."""
    key = opened.caller.key
    return {
        "recorded_by": opened.caller.person,
        "api_key": key,
        "app_name": key.app_name if key else "",
        "observed_offset_minutes": _offset_minutes(weighing.observed_at),
    }


def dormant_record(opened: OpenFarm, row_id: uuid.UUID) -> DormantRecord:
    """Give one dormant record of the open farm."""
    record: DormantRecord | None = DormantRecord.objects.for_farm(opened.farm).filter(pk=row_id).first()
    if record is None:
        raise NotFound
    return record
