"""Links that open one file of one report for a time, to be sent to where no key can be sent along.

A link is signed and kept nowhere.  It stands for the person who made it and, where they made it by a key, for that key:
at each use it opens no more than both do at that moment, so that nothing outlasts a consent or a key by it.
"""

from __future__ import annotations

import base64
import binascii
import struct
import uuid
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Final

from django.core.signing import BadSignature, SignatureExpired, TimestampSigner
from django.utils import timezone

from balance.reports.asking import report_of
from balance.reports.rendering import FORMS
from records.access import Caller, OpenFarm, Right, enter, open_farm
from records.errors import Expired, NotAllowed, NotFound
from records.models import ApiKey, Person

LONGEST: Final = timedelta(days=7)
_SALT: Final = "balance.reports.links"
#: Farm, report, person, key (or zeros), minutes; the form follows.
_LAYOUT: Final = struct.Struct(">16s16s16s16sI")
_NO_KEY: Final = uuid.UUID(int=0)


@dataclass(frozen=True)
class Link:
    """What a link opens, on whose behalf, and for how long."""

    farm: uuid.UUID
    report: uuid.UUID
    person: uuid.UUID
    key: uuid.UUID | None
    form: str
    valid_for: timedelta


def make_link(opened: OpenFarm, report_id: uuid.UUID, form: str, valid_for: timedelta) -> tuple[str, datetime]:
    """Make a link for the caller; gives its token and until when it opens.

    A key that ends earlier ends the link with it.
    """
    report = report_of(opened, report_id)
    caller = opened.caller
    key = caller.key
    link = Link(opened.farm.pk, report.pk, caller.person.pk, key.pk if key else None, form, valid_for)
    end = timezone.now() + valid_for
    return token_of(link), min(end, key.expires_at) if key else end


def token_of(link: Link) -> str:
    """Give the text of a link."""
    minutes = int(link.valid_for.total_seconds() // 60)
    ids = (each.bytes for each in (link.farm, link.report, link.person, link.key or _NO_KEY))
    packed = _LAYOUT.pack(*ids, minutes) + link.form.encode()
    return _signer().sign(base64.urlsafe_b64encode(packed).decode().rstrip("="))


def link_of(token: str) -> Link:
    """Read a link's text.

    Raises
    ------
    NotFound
        It is none that the service made.
    Expired
        Its time is over.
    """
    signer = _signer()
    try:
        link = _unpacked(signer.unsign(token))
        signer.unsign(token, max_age=link.valid_for)
    except SignatureExpired as error:
        raise Expired(
            "The link was valid for a time, and that is over. Ask whoever gave it to you for another."
        ) from error
    except (BadSignature, binascii.Error, struct.error, ValueError) as error:
        raise NotFound from error
    return link


def open_link(link: Link, request_id: str = "") -> OpenFarm:
    """Let whoever holds a link to the farm, as the one who made it and no further.

    Raises
    ------
    NotFound
        The person or their key may no longer read the farm.
    """
    caller = _caller_of(link, request_id)
    if caller is None or link.form not in FORMS:
        raise NotFound
    enter(caller)
    try:
        return open_farm(caller, link.farm, Right.READ)
    except NotAllowed as error:
        raise NotFound from error


def _caller_of(link: Link, request_id: str) -> Caller | None:
    person = Person.objects.filter(pk=link.person, is_active=True).first()
    if person is None:
        return None
    if link.key is None:
        return Caller(person, None, frozenset({Right.READ}), frozenset({link.farm}), request_id)
    key = ApiKey.objects.filter(
        pk=link.key, person=person, revoked_at=None, expires_at__gt=timezone.now()
    ).first()  # fmt: skip
    if key is None:
        return None
    key.person = person
    return Caller.by_key(key, request_id)


def _unpacked(text: str) -> Link:
    packed = base64.urlsafe_b64decode(text + "=" * (-len(text) % 4))
    *ids, minutes = _LAYOUT.unpack(packed[: _LAYOUT.size])
    farm, report, person, key = (uuid.UUID(bytes=each) for each in ids)
    form = packed[_LAYOUT.size :].decode("ascii")
    return Link(farm, report, person, None if key == _NO_KEY else key, form, timedelta(minutes=minutes))


def _signer() -> TimestampSigner:
    return TimestampSigner(salt=_SALT, sep=".")
