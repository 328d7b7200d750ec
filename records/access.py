"""The one door from a caller to a farm.

Nothing else turns a person or a key into a farm's rows.  A farm's own people come in by their role, an adviser
or a program's lead by a consent that is in force at this very moment; nothing of either is remembered from one
request to the next.  A farm that the caller has no part in and a farm that does not exist are the same
``NotFound``.  Behind the door stands row-level security, which the door opens for exactly the farms that it let
through.
"""

from __future__ import annotations

import uuid
from dataclasses import dataclass, field
from enum import StrEnum
from typing import Final

from django.db.models import Q, QuerySet
from django.db.models.functions import Now

from records.context import set_context
from records.errors import NotAllowed, NotFound
from records.models import (
    ApiKey,
    Consent,
    Farm,
    Membership,
    Person,
    Program,
    ProgramMembership,
    PruningFormula,
    Purpose,
    Role,
)
from records.planned import ask, columns, made, width


class Right(StrEnum):
    """What may be done on a farm; the scopes of a key bear the same names."""

    READ = "read"
    RECORD = "record"
    MANAGE = "manage"


RIGHTS_OF: Final[dict[str, frozenset[Right]]] = {
    Role.OWNER: frozenset(Right),
    Role.WORKER: frozenset({Right.READ, Right.RECORD}),
    Role.VIEWER: frozenset({Right.READ}),
}
#: What somebody is on a farm that a consent lets them onto; one for summaries or benchmarks lets nobody in.
LET_IN_AS: Final[dict[str, str]] = {Purpose.ADVICE: "adviser", Purpose.RECORDS: "program"}
#: More farms than this are not answered for at once.
MOST_FARMS: Final = 10_000


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
class Part:
    """A person's part in a farm: a role of their own, or a consent that its owner gave."""

    role: str
    rights: frozenset[Right]
    consent: Consent | None = None

    @classmethod
    def by_role(cls, role: str) -> Part:
        return cls(role, RIGHTS_OF.get(role, frozenset()))

    @classmethod
    def by_consent(cls, consent: Consent) -> Part:
        return cls(LET_IN_AS[consent.purpose], frozenset(Right(right) for right in consent.rights), consent)


@dataclass(frozen=True)
class OpenFarm:
    """A farm that the door let a caller into, with what they may do there: by their part and by their key."""

    farm: Farm
    caller: Caller
    part: Part
    rights: frozenset[Right] = field(default_factory=frozenset)

    @property
    def role(self) -> str:
        return self.part.role

    @property
    def consent(self) -> Consent | None:
        """The consent that let the caller in; none for the farm's own people."""
        return self.part.consent

    def require(self, right: Right) -> None:
        """Refuse unless the caller's part and key both allow it."""
        if right in self.rights:
            return
        if right in self.part.rights:
            raise NotAllowed(f"This key does not carry the scope '{right}'. Use a key that does.")
        if self.consent is not None:
            raise NotAllowed(f"The farm's consent does not let you do this; it takes the right '{right}'.")
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
    part = _part_of(caller.person.pk, farm_id) if caller.may_open(farm_id) else None
    if part is None:
        raise NotFound
    set_context(farms=[farm_id])
    farm = _farm(farm_id)
    if farm is None:  # erased since its membership was read
        raise NotFound
    opened = OpenFarm(farm, caller, part, part.rights & caller.scopes)
    opened.require(Right.READ)
    opened.require(right)
    return opened


def _farm(farm_id: uuid.UUID) -> Farm | None:
    """Give an open farm with its formula."""
    for row in ask(_FARM, [farm_id]):
        farm, formula = made(Farm, row[: width(Farm)]), row[width(Farm) :]
        farm.pruning_formula = made(PruningFormula, formula) if any(formula) else None
        return farm
    return None


_FARM: Final = f"""
    SELECT {columns(Farm, "farm")}, {columns(PruningFormula, "formula")}
    FROM farm LEFT JOIN pruning_formula AS formula ON formula.id = farm.pruning_formula_id
    WHERE farm.id = %s
"""  # noqa: S608 - names of our own columns


def hold(opened: OpenFarm) -> Farm:
    """Let others who hold the farm wait for this transaction; where it was erased meanwhile, there is nothing."""
    held = Farm.objects.select_for_update(no_key=True, of=("self",)).filter(pk=opened.farm.pk).first()
    if held is None:
        raise NotFound
    return held


def _part_of(person_id: uuid.UUID, farm_id: uuid.UUID, *, held: bool = False) -> Part | None:
    """Give the person's part in a farm as it stands now; ``held``: it stands until the transaction ends."""
    # Each row says itself of which farm it is: the door rests on no filter alone.
    for role, of_farm in ask(_ROLE_HELD if held else _ROLE, [farm_id, person_id]):
        return Part.by_role(role) if of_farm == farm_id else None
    consents = Consent.objects.for_farm(farm_id)
    if held:
        consents = consents.select_for_update(no_key=True)
    consent = consents.filter(_lets_in(person_id)).order_by(*_WIDEST_FIRST).first()
    return Part.by_consent(consent) if consent is not None and consent.farm_id == farm_id else None


_ROLE: Final = "SELECT role, farm_id FROM membership WHERE farm_id = %s AND person_id = %s"
_ROLE_HELD: Final = f"{_ROLE} FOR NO KEY UPDATE"
#: Advice comes before the reading of a program's lead, and with the right to record before without.
_WIDEST_FIRST: Final = ("purpose", "-rights", "pk")


def in_force() -> Q:
    """Give the condition that a consent is in force now, by the clock of the database."""
    not_over = Q(valid_until=None) | Q(valid_until__gt=Now())
    return Q(withdrawn_at=None, valid_from__lte=Now()) & not_over


def _lets_in(person_id: uuid.UUID) -> Q:
    """Give the condition that a consent lets this person onto the farm now."""
    advises, leads = Q(purpose=Purpose.ADVICE, person=person_id), Q(purpose=Purpose.RECORDS)
    return in_force() & (advises | (leads & Q(program__in=_led_by(person_id))))


def _led_by(person_id: uuid.UUID) -> QuerySet[ProgramMembership, uuid.UUID]:
    return ProgramMembership.objects.filter(person=person_id).values_list("program_id", flat=True)


def led_by(caller: Caller) -> set[uuid.UUID]:
    """Give the programs that the caller leads."""
    return set(_led_by(caller.person.pk))


def parts_of(caller: Caller) -> dict[uuid.UUID, Part]:
    """Give the caller's part in each farm that their key opens."""
    own = Membership.objects.filter(person=caller.person).order_by("farm_id")[:MOST_FARMS]
    parts = {membership.farm_id: Part.by_role(membership.role) for membership in own}
    given = Consent.objects.filter(_lets_in(caller.person.pk)).order_by("farm_id", *_WIDEST_FIRST)
    for consent in given[:MOST_FARMS]:
        parts.setdefault(consent.farm_id, Part.by_consent(consent))
    return {farm_id: part for farm_id, part in parts.items() if caller.may_open(farm_id)}


def farms_of(caller: Caller, parts: dict[uuid.UUID, Part] | None = None) -> QuerySet[Farm]:
    """Give the farms that the caller may see, and open exactly those to this transaction."""
    if Right.READ not in caller.scopes:
        raise NotAllowed("This key does not carry the scope 'read'. Use a key that does.")
    ids = list(parts_of(caller) if parts is None else parts)
    set_context(farms=ids)
    return Farm.objects.filter(pk__in=ids)


def roles_of(caller: Caller) -> dict[uuid.UUID, str]:
    """Give what the caller is on each of their farms."""
    return {farm_id: part.role for farm_id, part in parts_of(caller).items()}


def consents_for(caller: Caller) -> QuerySet[Consent]:
    """Give every consent that names the caller as adviser, or a program that they lead, ended ones too."""
    named = Q(person=caller.person) | Q(program__in=_led_by(caller.person.pk))
    bound = Q(farm__in=caller.only_farms) if caller.only_farms else Q()
    return Consent.objects.filter(named, bound)


def programs_of(caller: Caller) -> QuerySet[Program]:
    """Give the programs that the caller leads, or that a farm of theirs takes part in or gave a consent to."""
    parts = parts_of(caller)
    taken_part = farms_of(caller, parts).exclude(program=None).values("program_id")
    own = [farm_id for farm_id, part in parts.items() if part.consent is None]
    consented = Consent.objects.filter(in_force(), farm__in=own).exclude(program=None).values("program_id")
    led = _led_by(caller.person.pk)
    return Program.objects.filter(Q(pk__in=led) | Q(pk__in=taken_part) | Q(pk__in=consented))


def open_program(caller: Caller, program_id: uuid.UUID) -> Program:
    """Let the caller see one program, or refuse as if there were none."""
    program = programs_of(caller).filter(pk=program_id).first()
    if program is None:
        raise NotFound
    return program


def open_program_catalogue(caller: Caller, program_id: uuid.UUID, *, writes: bool = False) -> Program:
    """Let the caller to what a program adds to the catalogues: its leads to write, farms that take part to read.

    Raises
    ------
    NotFound
        The program does not concern the caller.
    NotAllowed
        It does, but they may not do this with what it adds.
    """
    program = open_program(caller, program_id)
    leads = program.pk in _led_by(caller.person.pk)
    if writes and not leads:
        raise NotAllowed("Only the leads of a program add to its formulas and ranges.")
    if writes and (Right.MANAGE not in caller.scopes or caller.only_farms):
        raise NotAllowed("This takes a key with the scope 'manage' that is not bound to certain farms.")
    if not leads and not Farm.objects.filter(pk__in=parts_of(caller), program=program).exists():
        raise NotAllowed("A program's own formulas and ranges are for its leads and for farms that take part in it.")
    return program


def open_led_program(caller: Caller, program_id: uuid.UUID) -> Program:
    """Let a lead to what only the leads of a program see; for everybody else there is no such thing.

    Raises
    ------
    NotFound
        The caller does not lead the program.
    NotAllowed
        They do, but by this key they may not see it: it brings many farms together.
    """
    program = Program.objects.filter(pk=program_id, pk__in=_led_by(caller.person.pk)).first()
    if program is None:
        raise NotFound
    if Right.READ not in caller.scopes or caller.only_farms:
        raise NotAllowed("This takes a key with the scope 'read' that is not bound to certain farms.")
    return program


def hold_lead(program_id: uuid.UUID, person: Person) -> bool:
    """Tell whether somebody leads a program; if so, they do until the transaction ends."""
    held = ProgramMembership.objects.select_for_update(no_key=True, of=("self",))
    return person.is_active and held.filter(program=program_id, person=person).exists()


def leads_of(program_id: uuid.UUID) -> set[uuid.UUID]:
    """Give the persons who lead a program."""
    return set(ProgramMembership.objects.filter(program=program_id).values_list("person_id", flat=True))


def consents_to_count(caller: Caller, program_id: uuid.UUID, purpose: str = Purpose.SUMMARIES) -> QuerySet[Consent]:
    """Give the consents by which farms let a program count them at this moment; the caller leads it."""
    return Consent.objects.filter(in_force(), purpose=purpose, program=program_id, program__in=led_by(caller))


def open_for_work(farm_id: uuid.UUID) -> Farm:
    """Open one farm to a worker that carries out a job which the farm's own row names."""
    set_context(farms=[farm_id], person=None, key=None)
    farm = Farm.objects.filter(pk=farm_id).first()
    if farm is None:
        raise NotFound
    return farm


def require_still(farm_id: uuid.UUID, person: Person, right: Right) -> None:
    """Refuse to go on with what a person asked for, once they may no longer ask for it; the farm is open.

    What lets them in is held until the transaction ends, so that whoever takes it away waits for what is being
    done and nothing is done after.

    Raises
    ------
    NotAllowed
        The person has left, their role or consent has ended, or it no longer carries the right.
    """
    part = _part_of(person.pk, farm_id, held=True) if person.is_active else None
    if part is None or right not in part.rights:
        raise NotAllowed(
            f"Whoever asked for this no longer has the right '{right}' on the farm, so it was ended. "
            "What was done while they had it stays. Somebody who has the right may ask again."
        )
