"""Give consent, and take it back: one permission for one adviser or one program, for one purpose."""

from __future__ import annotations

import uuid
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any, Final

from django.db.models import Q
from django.db.models.functions import Now
from django.utils import timezone

from records.access import OpenFarm, Right, hold, led_by
from records.consent_texts import CURRENT
from records.errors import AlreadyRecorded, Conflict, NotFound, NotValid
from records.models import Consent, Membership, Person, Program, Purpose
from records.services.people import person_of
from records.services.storing import Stored, change, create_once


@dataclass(frozen=True)
class Adviser:
    """An adviser as the farm knows them."""

    email: str
    name: str


@dataclass(frozen=True, kw_only=True)
class Asked:
    """What an owner agrees to: for whom, for what, how far, from when and until when."""

    purpose: str
    text_version: str
    adviser: Adviser | None = None
    program_id: uuid.UUID | None = None
    join_code: str | None = None
    rights: tuple[str, ...] | None = None
    valid_from: datetime | None = None
    valid_until: datetime | None = None


def consents_of(opened: OpenFarm) -> Any:
    """Give every consent of the farm, ended ones too."""
    opened.require(Right.MANAGE)
    return Consent.objects.for_farm(opened.farm).select_related("person", "program", "given_by", "withdrawn_by")


def consent_of(opened: OpenFarm, consent_id: uuid.UUID) -> Consent:
    """Give one consent of the farm."""
    consent: Consent | None = consents_of(opened).filter(pk=consent_id).first()
    if consent is None:
        raise NotFound
    return consent


def give_consent(opened: OpenFarm, consent_id: uuid.UUID | None, asked: Asked) -> Stored[Consent]:
    """Let an adviser or a program onto the farm, as far as was asked and no further.

    Raises
    ------
    NotValid
        Purpose, recipient, rights, times or the version of the text do not fit together.
    Conflict
        The adviser is one of the farm's own people.
    AlreadyRecorded
        A consent for the same recipient and purpose covers part of the time.
    """
    opened.require(Right.MANAGE)
    columns = _columns(opened, asked)
    known = consent_id is not None and Consent.objects.for_farm(opened.farm).filter(pk=consent_id).exists()
    if not known:
        _check_text(asked)
        _check_not_over(asked)
        # One after the other, so that of two that overlap one is refused.
        hold(opened)
        _refuse_own_people(opened, columns["person_id"])
        _refuse_overlap(opened, columns)
    stored = create_once(Consent, opened.farm, consent_id, columns, provenance={"given_by": opened.caller.person})
    return Stored(consent_of(opened, stored.row.pk), created=stored.created)


def withdraw_consent(opened: OpenFarm, consent_id: uuid.UUID, *, version: int | None) -> Consent:
    """Take a consent back: it opens nothing from the next request on; taking it back twice is once."""
    consent = consent_of(opened, consent_id)
    if consent.withdrawn_at is None:
        now = {"withdrawn_at": Now(), "withdrawn_by_id": opened.caller.person.pk}
        change(Consent, opened.farm, consent_id, now, version=version)
    return consent_of(opened, consent_id)


def _columns(opened: OpenFarm, asked: Asked) -> dict[str, Any]:
    """Give what is stored; the time of giving is the database's where none was said."""
    for_advice = asked.purpose == Purpose.ADVICE
    person = _adviser(asked) if for_advice else None
    columns: dict[str, Any] = {
        "purpose": asked.purpose,
        "person_id": person.pk if person else None,
        "name": asked.adviser.name if for_advice and asked.adviser else "",
        "program_id": None if for_advice else _program(opened, asked).pk,
        "rights": _rights(asked),
        "valid_until": asked.valid_until,
        "text_version": asked.text_version,
    }
    return columns | ({"valid_from": asked.valid_from} if asked.valid_from else {})


def _adviser(asked: Asked) -> Person:
    if asked.adviser is None or asked.program_id is not None or asked.join_code is not None:
        raise NotValid.at(
            "adviser", code="wrong_recipient", detail="Consent for advice names an adviser, and no program."
        )
    return person_of(asked.adviser.email, asked.adviser.name)


def _program(opened: OpenFarm, asked: Asked) -> Program:
    """Give the program: by its id where it concerns the farm or its owner already, else by the code of its leads."""
    if (asked.program_id is None) == (asked.join_code is None) or asked.adviser is not None:
        sentence = f"Consent for {asked.purpose} names a program, by id or by its join_code, and no adviser."
        raise NotValid.at("program", code="wrong_recipient", detail=sentence)
    if asked.join_code is not None:
        program = Program.objects.filter(join_code=asked.join_code).first()
        place, given = "join_code", repr(asked.join_code)
    else:
        before = Consent.objects.for_farm(opened.farm).exclude(program=None).values("program_id")
        known = Q(pk__in={opened.farm.program_id, *led_by(opened.caller)} - {None}) | Q(pk__in=before)
        program = Program.objects.filter(known, pk=str(asked.program_id)).first()
        place, given = "program", str(asked.program_id)
    if program is None:
        sentence = (
            f"No program of yours is known by {given}. The first time, send the join_code that its leads gave you."
        )
        raise NotValid.at(place, code="no_such_program", detail=sentence)
    return program


#: What may be allowed for each purpose; the first is what it is where nothing is said.
_RIGHTS: Final[dict[str, list[list[Right]]]] = {
    Purpose.ADVICE: [[Right.READ], [Right.READ, Right.RECORD]],
    Purpose.RECORDS: [[Right.READ]],
    Purpose.SUMMARIES: [[]],
    Purpose.BENCHMARKS: [[]],
}


def _rights(asked: Asked) -> list[str]:
    allowed = _RIGHTS[asked.purpose]
    rights = allowed[0] if asked.rights is None else [right for right in Right if right in asked.rights]
    if rights not in allowed:
        ways = " or ".join(f"[{', '.join(way)}]" for way in allowed)
        sentence = f"For the purpose {asked.purpose} the rights are {ways}, not [{', '.join(asked.rights or ())}]."
        raise NotValid.at("rights", code="wrong_rights", detail=sentence)
    return [str(right) for right in rights]


def _check_text(asked: Asked) -> None:
    current = CURRENT[asked.purpose].version
    if asked.text_version != current:
        raise NotValid.at(
            "text_version",
            code="not_the_current_text",
            detail=f"The text for {asked.purpose} stands at version {current!r}, not {asked.text_version!r}. "
            "Show it to the owner (GET /consent-texts) and send the version that they agreed to.",
        )


def _check_not_over(asked: Asked) -> None:
    if asked.valid_until is not None and asked.valid_until <= timezone.now():
        sentence = f"{asked.valid_until.isoformat()} has passed: the consent would open nothing. Send a later moment."
        raise NotValid.at("until", code="already_over", detail=sentence)


def _refuse_own_people(opened: OpenFarm, person_id: uuid.UUID | None) -> None:
    own = Membership.objects.for_farm(opened.farm).filter(person=person_id).first()
    if own is not None:
        raise Conflict(f"They are {own.role} of this farm, so their role decides. Change the role, or remove it first.")


def _refuse_overlap(opened: OpenFarm, columns: Mapping[str, Any]) -> None:
    """Refuse a second consent for the same while one stands: withdrawing one must never leave another open."""
    same = {name: columns[name] for name in ("purpose", "person_id", "program_id")}
    begins = columns.get("valid_from", Now())
    overlapping = Q(withdrawn_at=None) & (Q(valid_until=None) | Q(valid_until__gt=begins))
    if columns["valid_until"] is not None:
        overlapping &= Q(valid_from__lt=columns["valid_until"])
    standing = consents_of(opened).filter(overlapping, **same).first()
    if standing is not None:
        raise AlreadyRecorded(
            "A consent for the same recipient and purpose covers part of this time. Withdraw it, or name another time.",
            current=standing,
        )
