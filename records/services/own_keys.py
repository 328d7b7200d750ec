"""A person's own keys, made and taken back through a key or a login of theirs.

Who makes or rotates a key by another gives no more than that one has: not in scopes, not in farms, not in time.
So a key that fell into wrong hands makes nothing that outlives or outreaches it.
"""

from __future__ import annotations

import uuid
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any, Final

from django.db import IntegrityError, transaction
from django.db.models import Q, QuerySet
from django.utils import timezone

from records.access import Caller, Right, parts_of
from records.errors import Conflict, IdInUse, IdUnavailable, NotAllowed, NotFound, NotValid, Stale
from records.models import ApiKey
from records.services.keys import make_key, revoke_key, rotate_key
from records.services.storing import constraint_of

USUAL_LIFE: Final = timedelta(days=365)
LONGEST_LIFE: Final = timedelta(days=731)
LONGEST_OVERLAP: Final = timedelta(days=7)


@dataclass(frozen=True)
class Wanted:
    """What a new key is to be."""

    label: str
    scopes: Sequence[str]
    app_name: str = ""
    farm_ids: Sequence[uuid.UUID] = ()
    expires_at: datetime | None = None


def keys_of(caller: Caller) -> QuerySet[ApiKey]:
    """Give the caller's keys, ended ones too; a key for certain farms sees those for the same farms, and itself."""
    own = ApiKey.objects.filter(person=caller.person)
    if not caller.only_farms:
        return own
    within = Q(farm_ids__contained_by=list(caller.only_farms)) & ~Q(farm_ids=[])
    return own.filter(within | Q(pk=caller.key.pk if caller.key else None))


def key_of(caller: Caller, key_id: uuid.UUID) -> ApiKey:
    """Give one of the caller's keys."""
    key = keys_of(caller).filter(pk=key_id).first()
    if key is None:
        raise NotFound
    return key


def make_own_key(caller: Caller, key_id: uuid.UUID | None, wanted: Wanted) -> tuple[ApiKey, str]:
    """Make a key for the caller; its text is given here once.

    Raises
    ------
    NotAllowed
        The calling key may not manage.
    NotValid
        The new key would give more than the calling one, or is for a farm that the caller has no part in.
    IdInUse
        The caller has a key of this id already.
    IdUnavailable
        The id cannot be used.
    """
    _require_manage(caller)
    _check_scopes(caller, wanted.scopes)
    _check_farms(caller, wanted.farm_ids)
    more: dict[str, Any] = {"made_by": caller.key, "expires_at": _end(caller, wanted.expires_at)}
    if key_id is not None:
        more["id"] = key_id
    try:
        with transaction.atomic():
            return make_key(
                caller.person,
                label=wanted.label,
                scopes=set(wanted.scopes),
                app_name=wanted.app_name,
                farm_ids=wanted.farm_ids,
                **more,
            )
    except IntegrityError as error:
        if constraint_of(error) != "api_key_pkey":
            raise
        known = keys_of(caller).filter(pk=str(key_id)).first()
        if known is None:
            raise IdUnavailable("This id cannot be used. Send another, or none.") from error
        raise IdInUse(
            "This key was made already, and its secret was shown once. If the answer was lost, rotate the key.",
            current=known,
        ) from error


def rotate_own_key(caller: Caller, key_id: uuid.UUID, *, overlap: timedelta, version: int | None) -> tuple[ApiKey, str]:
    """Give a key of the caller's another secret; any key may do so for itself.

    Raises
    ------
    NotAllowed
        The calling key is another one, and has less than this one or may not manage.
    Conflict
        The key is no longer in force.
    """
    key = _held(caller, key_id, version)
    itself = caller.key is not None and caller.key.pk == key.pk
    if not itself:
        _require_manage(caller)
        _refuse_wider(caller, key)
    now = timezone.now()
    if key.revoked_at is not None or key.expires_at <= now:
        raise Conflict("This key is no longer in force. Make a new one.")
    by_former = itself and caller.key is not None and caller.key.by_former_secret
    ends = [now + overlap, key.expires_at, *([key.former_secret_until] if by_former else [])]
    former_until = min(end for end in ends if end is not None) if overlap else None
    text = rotate_key(key, former_until=former_until, keep_former=by_former)
    return key_of(caller, key_id), text


def revoke_own_key(caller: Caller, key_id: uuid.UUID, *, version: int | None) -> ApiKey:
    """Take a key of the caller's back; any key may end itself. Taking it back twice is once."""
    key = key_of(caller, key_id)
    if caller.key is None or caller.key.pk != key.pk:
        _require_manage(caller)
    if key.revoked_at is None:
        revoke_key(_held(caller, key_id, version))
    return key_of(caller, key_id)


def _held(caller: Caller, key_id: uuid.UUID, version: int | None) -> ApiKey:
    """Give a key, kept as it is until the transaction ends."""
    key = keys_of(caller).select_for_update(no_key=True).filter(pk=key_id).first()
    if key is None:
        raise NotFound
    if version is not None and key.version != version:
        raise Stale(f"The key is at version {key.version}, not {version}. Read it again first.", current=key)
    return key


def _require_manage(caller: Caller) -> None:
    if Right.MANAGE not in caller.scopes:
        raise NotAllowed("Keys other than itself take a key with the scope 'manage'.")


def _refuse_wider(caller: Caller, key: ApiKey) -> None:
    """Refuse to hand out the secret of a key that opens more than the calling one."""
    longer = caller.key is not None and key.expires_at > caller.key.expires_at
    if longer or not set(key.scopes) <= set(caller.scopes):
        raise NotAllowed("That key opens more than the one you call with, or for longer. Use one that has as much.")


def _check_scopes(caller: Caller, scopes: Sequence[str]) -> None:
    for place, scope in enumerate(scopes):
        if scope not in caller.scopes:
            raise NotValid.at(
                "scopes",
                place,
                code="beyond_this_key",
                detail=f"The key you call with has no scope '{scope}', so it cannot give it. "
                f"It has: {', '.join(sorted(caller.scopes))}.",
            )


def _check_farms(caller: Caller, farm_ids: Sequence[uuid.UUID]) -> None:
    if caller.only_farms and not farm_ids:
        raise NotValid.at(
            "farms",
            code="beyond_this_key",
            detail="The key you call with is for certain farms, so name which of them the new one opens: "
            f"{', '.join(sorted(map(str, caller.only_farms)))}.",
        )
    parts = parts_of(caller) if farm_ids else {}
    for place, farm_id in enumerate(farm_ids):
        if farm_id not in parts:
            sentence = f"Your key opens no farm {farm_id}, so it cannot give it. The farms it opens are at /farms."
            raise NotValid.at("farms", place, code="no_such_farm", detail=sentence)


def _end(caller: Caller, asked: datetime | None) -> datetime:
    """Give when the new key ends: no later than the calling one, and no later than a key may."""
    now = timezone.now()
    latest = min(now + LONGEST_LIFE, caller.key.expires_at) if caller.key else now + LONGEST_LIFE
    if asked is None:
        return min(now + USUAL_LIFE, latest)
    if not now < asked <= latest:
        raise NotValid.at(
            "expires_at",
            code="out_of_range",
            detail=f"{asked.isoformat()} is not between now and {latest.isoformat()}: a key lasts at most two years, "
            "and no longer than the one that makes it.",
        )
    return asked
