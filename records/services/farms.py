"""Make farms and say who may do what on them."""

from __future__ import annotations

import uuid
from collections.abc import Mapping
from typing import Any
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from django.db import IntegrityError, connection, transaction
from django.db.models.functions import Now

from records.access import Caller, OpenFarm, Right, hold
from records.context import set_context
from records.errors import IdUnavailable, NotAllowed, NotValid, Stale
from records.models import Farm, Membership, Person, Role
from records.services.storing import change


def create_farm(caller: Caller, row_id: uuid.UUID | None, columns: Mapping[str, Any]) -> tuple[Farm, bool]:
    """Make a farm with the caller as its owner; the caller's own farm of this id is given again.

    Raises
    ------
    NotAllowed
        The key may not manage, or is bound to certain farms.
    IdUnavailable
        The id is taken by a farm that is not the caller's.
    """
    if Right.MANAGE not in caller.scopes or caller.only_farms:
        raise NotAllowed("A new farm takes a key with the scope 'manage' that is not bound to certain farms.")
    check_time_zone(columns["time_zone"])
    farm_id = row_id or new_id()
    # This opens the farm as the door does, and like the door rests on no filter alone: the farm is named twice.
    owned = Membership.objects.for_farm(farm_id).filter(farm_id=farm_id, person=caller.person, role=Role.OWNER)
    if owned.exists():
        set_context(farms=[farm_id])
        return Farm.objects.get(pk=farm_id), False
    set_context(farms=[farm_id])
    try:
        with transaction.atomic():
            Farm.objects.create(pk=farm_id, **columns)
    except IntegrityError as error:
        if owned.exists():  # the same request, sent twice at once: the other one has just been carried out
            return Farm.objects.get(pk=farm_id), False
        set_context(farms=None)
        raise IdUnavailable("This id cannot be used. Send another, or none.") from error
    Membership.objects.create(farm_id=farm_id, person=caller.person, role=Role.OWNER)
    return Farm.objects.get(pk=farm_id), True


def change_farm(opened: OpenFarm, columns: Mapping[str, Any], *, version: int | None) -> Farm:
    """Change what a farm says of itself, from the version that the caller knows."""
    opened.require(Right.MANAGE)
    if "time_zone" in columns:
        check_time_zone(columns["time_zone"])
    farm = hold(opened)
    if version is not None and farm.version != version:
        raise Stale(f"The farm is at version {farm.version}, not {version}. Read it again first.", current=farm)
    Farm.objects.filter(pk=farm.pk).update(**columns, version=farm.version + 1, changed_at=Now())
    farm.refresh_from_db()
    return farm


def set_role(farm: Farm, person: Person, role: str) -> Membership:
    """Give a person a role on an open farm, or another one than before."""
    known: Membership | None = Membership.objects.for_farm(farm).filter(person=person).first()
    if known is None:
        return Membership.objects.create(farm=farm, person=person, role=role)
    return change(Membership, farm, known.pk, {"role": role}, version=None)


def check_time_zone(name: str) -> None:
    """Refuse a time zone that the IANA database does not know."""
    try:
        ZoneInfo(name)
    except (ZoneInfoNotFoundError, ValueError, OSError) as error:
        raise NotValid.at(
            "time_zone",
            code="unknown_time_zone",
            detail=f"{name!r} is not an IANA time zone. Write it like America/New_York or Europe/Paris.",
        ) from error


def new_id() -> uuid.UUID:
    """Give a fresh time-ordered id, made by the database."""
    with connection.cursor() as cursor:
        cursor.execute("SELECT uuidv7()")
        row: tuple[uuid.UUID] = cursor.fetchone()
    return row[0]
