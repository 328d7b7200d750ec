"""Say who belongs to a farm and as what; at least one owner stays."""

from __future__ import annotations

import uuid
from collections.abc import Mapping
from typing import Any

from django.db import IntegrityError, transaction
from django.db.models import Q
from django.db.models.functions import Now

from records.access import OpenFarm, Right, hold
from records.errors import AlreadyRecorded, Conflict, NotFound, Stale
from records.models import Consent, Membership, Person, Role
from records.services.people import person_of
from records.services.storing import Stored, change


def members_of(opened: OpenFarm) -> Any:
    """Give the farm's own people; advisers and programs are among its consents."""
    opened.require(Right.MANAGE)
    return Membership.objects.for_farm(opened.farm).select_related("person")


def member_of(opened: OpenFarm, member_id: uuid.UUID) -> Membership:
    """Give one of the farm's own people."""
    member: Membership | None = members_of(opened).filter(pk=member_id).first()
    if member is None:
        raise NotFound
    return member


def add_member(opened: OpenFarm, *, email: str, name: str, role: str) -> Stored[Membership]:
    """Give a person a role on the farm; the same again changes nothing.

    Raises
    ------
    AlreadyRecorded
        The person has another role on the farm.
    Conflict
        A consent lets them in already, or will.
    """
    opened.require(Right.MANAGE)
    person = person_of(email, name)
    hold(opened)
    _refuse_adviser(opened, person)
    try:
        with transaction.atomic():
            Membership.objects.create(farm=opened.farm, person=person, role=role, name=name)
        created = True
    except IntegrityError:
        created = False
    member: Membership = members_of(opened).get(person=person)
    if member.role != role:
        raise AlreadyRecorded(
            f"{email} is {member.role} of this farm already. Change the role by PATCH with If-Match.", current=member
        )
    return Stored(member, created=created)


def change_member(
    opened: OpenFarm, member_id: uuid.UUID, columns: Mapping[str, Any], *, version: int | None
) -> Membership:
    """Change what the farm calls a person, or their role.

    Raises
    ------
    Conflict
        They are the last owner.
    """
    opened.require(Right.MANAGE)
    if columns.get("role", Role.OWNER) != Role.OWNER:
        _keep_an_owner(opened, member_id)
    change(Membership, opened.farm, member_id, columns, version=version)
    return member_of(opened, member_id)


def remove_member(opened: OpenFarm, member_id: uuid.UUID, *, version: int | None) -> None:
    """Take a person off the farm: nothing of it is theirs to see from the next request on.

    Raises
    ------
    Conflict
        They are the last owner.
    Stale
        The membership was changed since.
    """
    opened.require(Right.MANAGE)
    _keep_an_owner(opened, member_id)
    members = Membership.objects.for_farm(opened.farm).filter(pk=member_id)
    member = members.select_related("person").select_for_update(of=("self",)).first()
    if member is None:
        raise NotFound
    if version is not None and member.version != version:
        raise Stale(f"The member is at version {member.version}, not {version}. Read them again.", current=member)
    members.delete()


def _refuse_adviser(opened: OpenFarm, person: Person) -> None:
    """Refuse a role beside a consent: who is taken off the farm must not still come in by the other."""
    not_over = Q(valid_until=None) | Q(valid_until__gt=Now())
    if Consent.objects.for_farm(opened.farm).filter(not_over, person=person, withdrawn_at=None).exists():
        raise Conflict("They come in as an adviser, by consent. Withdraw that first, or let them stay as they are.")


def _keep_an_owner(opened: OpenFarm, leaving: uuid.UUID) -> None:
    """Refuse to let the last owner go; two who leave at once wait for each other here."""
    hold(opened)
    owners = Membership.objects.for_farm(opened.farm).filter(role=Role.OWNER, person__is_active=True)
    others = owners.exclude(pk=leaving).exists()
    if not others and Membership.objects.for_farm(opened.farm).filter(pk=leaving, role=Role.OWNER).exists():
        raise Conflict("A farm keeps at least one owner. Make somebody else an owner first.")
