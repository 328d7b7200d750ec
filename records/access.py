"""The one door from a caller to a farm.

Nothing else turns a person or a key into a farm's rows.  A farm that the caller has no part in and a farm
that does not exist are the same ``NotFound``.  Behind the door stands row-level security, which the door
opens for exactly the farms that it let through.
"""

from __future__ import annotations

import uuid
from dataclasses import dataclass, field
from enum import StrEnum
from typing import Final

from django.db.models import Q, QuerySet

from records.context import set_context
from records.errors import NotAllowed, NotFound
from records.models import ApiKey, Farm, Membership, Person, Program, ProgramMembership, Role


class Right(StrEnum):
    """What may be done on a farm; the scopes of a key bear the same names."""

    READ = "read"
    RECORD = "record"
    MANAGE = "manage"


RIGHTS_OF: Final[dict[str, frozenset[Right]]] = {
    Role.OWNER: frozenset(Right),
    Role.WORKER: frozenset({Right.READ, Right.RECORD}),
    Role.ADVISER: frozenset({Right.READ, Right.RECORD}),
    Role.VIEWER: frozenset({Right.READ}),
}


@dataclass(frozen=True)
class Caller:
    """Who calls, by which key, and what that key allows."""

    person: Person
    key: ApiKey | None = None
    scopes: frozenset[Right] = frozenset(Right)
    only_farms: frozenset[uuid.UUID] = frozenset()
    request_id: str = ""

    @classmethod
    def by_key(cls, key: ApiKey, request_id: str = "") -> Caller:
        """Give the caller that a key stands for."""
        scopes = frozenset(Right(scope) for scope in key.scopes)
        return cls(key.person, key, scopes, frozenset(key.farm_ids), request_id)

    def may_open(self, farm_id: uuid.UUID) -> bool:
        return not self.only_farms or farm_id in self.only_farms


@dataclass(frozen=True)
class OpenFarm:
    """A farm that the door let a caller into, with what they may do there."""

    farm: Farm
    caller: Caller
    role: str
    rights: frozenset[Right] = field(default_factory=frozenset)

    def require(self, right: Right) -> None:
        """Refuse unless the caller's role and key both allow it."""
        if right in self.rights:
            return
        if right in RIGHTS_OF.get(self.role, frozenset()):
            raise NotAllowed(f"This key does not carry the scope '{right}'. Use a key that does.")
        raise NotAllowed(f"As {self.role} of this farm you may not do this; it takes the right '{right}'.")


def enter(caller: Caller) -> None:
    """Say on whose behalf this transaction runs; no farm is open yet."""
    key_id = caller.key.pk if caller.key else None
    set_context(person=caller.person.pk, key=key_id, request=caller.request_id, farms=None)


def open_farm(caller: Caller, farm_id: uuid.UUID, right: Right = Right.READ) -> OpenFarm:
    """Let the caller into one farm, or refuse.

    Raises
    ------
    NotFound
        There is no such farm, the caller has no part in it, or the key is not for it.
    NotAllowed
        The caller may see the farm, but not do this.
    """
    if not caller.may_open(farm_id):
        raise NotFound
    membership = Membership.objects.for_farm(farm_id).filter(person=caller.person).first()
    if membership is None:
        raise NotFound
    set_context(farms=[farm_id])
    rights = RIGHTS_OF.get(membership.role, frozenset()) & caller.scopes
    opened = OpenFarm(Farm.objects.select_related("pruning_formula").get(pk=farm_id), caller, membership.role, rights)
    opened.require(Right.READ)
    opened.require(right)
    return opened


def farms_of(caller: Caller) -> QuerySet[Farm]:
    """Give the farms that the caller may see, and open exactly those to this transaction."""
    if Right.READ not in caller.scopes:
        raise NotAllowed("This key does not carry the scope 'read'. Use a key that does.")
    ids = [pk for pk in _farm_ids_of(caller.person) if caller.may_open(pk)]
    set_context(farms=ids)
    return Farm.objects.filter(pk__in=ids)


def _farm_ids_of(person: Person) -> list[uuid.UUID]:
    own = Membership.objects.filter(person=person)
    return list(own.order_by("farm_id").values_list("farm_id", flat=True)[:1000])


def roles_of(caller: Caller) -> dict[uuid.UUID, str]:
    """Give the caller's role on each of their farms."""
    rows = Membership.objects.filter(person=caller.person).values_list("farm_id", "role")[:1000]
    return {farm_id: role for farm_id, role in rows if caller.may_open(farm_id)}


def programs_of(caller: Caller) -> QuerySet[Program]:
    """Give the programs that the caller leads or that a farm of theirs takes part in."""
    led = ProgramMembership.objects.filter(person=caller.person).values("program_id")
    taken_part = farms_of(caller).exclude(program=None).values("program_id")
    return Program.objects.filter(Q(pk__in=led) | Q(pk__in=taken_part))


def open_program(caller: Caller, program_id: uuid.UUID) -> Program:
    """Let the caller see one program, or refuse as if there were none."""
    program = programs_of(caller).filter(pk=program_id).first()
    if program is None:
        raise NotFound
    return program


def open_for_work(farm_id: uuid.UUID) -> Farm:
    """Open one farm to a worker that carries out a job which the farm's own row names."""
    set_context(farms=[farm_id], person=None, key=None)
    farm = Farm.objects.filter(pk=farm_id).first()
    if farm is None:
        raise NotFound
    return farm
