"""Make, find, rotate and take back keys.

A key reads ``vine_<prefix>_<secret><check>``: one word to select, known by its beginning to scanners, with a
check that tells a mistyped key from a wrong one before the database is asked.  The secret has 256 random
bits, so one round of SHA-256 is enough to keep it.

A rotation gives a key another secret; its beginning, scopes, farms and end stay.  The secret before opens it for a
while longer, so that an app can change over.
"""

from __future__ import annotations

import hashlib
import hmac
import re
import secrets
import uuid
import zlib
from collections.abc import Iterable
from datetime import datetime, timedelta
from typing import Any, Final

from django.db.models import F, Q
from django.utils import timezone

from records.models import ApiKey, Person
from records.planned import ask, columns, made, width

_SHAPE = re.compile(r"^vine_([0-9a-z]{8})_([0-9A-Za-z_-]{43})([0-9a-f]{8})$")
_ALPHABET = "0123456789abcdefghjkmnpqrstvwxyz"
LAST_USED_KEPT_TO = timedelta(minutes=5)


def make_key(
    person: Person,
    *,
    label: str,
    scopes: Iterable[str],
    app_name: str = "",
    farm_ids: Iterable[uuid.UUID] = (),
    valid_for: timedelta = timedelta(days=365),
    **more: Any,
) -> tuple[ApiKey, str]:
    """Make a key; its text is given here once and can never be read again."""
    prefix = "".join(secrets.choice(_ALPHABET) for _ in range(8))
    secret = secrets.token_urlsafe(32)
    columns = {"expires_at": timezone.now() + valid_for, **more}
    key = ApiKey.objects.create(
        person=person,
        prefix=prefix,
        secret_hash=_hash(secret),
        label=label,
        app_name=app_name,
        scopes=sorted(scopes),
        farm_ids=list(farm_ids),
        **columns,
    )
    return key, _text(prefix, secret)


def find_key(text: str) -> ApiKey | None:
    """Give the key that this text opens, or nothing: unknown, expired and revoked are told apart by nothing."""
    shape = _SHAPE.match(text)
    if shape is None or _check(shape[1], shape[2]) != shape[3]:
        return None
    now = timezone.now()
    key = _in_force(shape[1], now)
    if key is None:
        return None
    given = _hash(shape[2])
    former = key.former_secret_hash if key.former_secret_until and key.former_secret_until > now else ""
    key.by_former_secret = hmac.compare_digest(former, given)
    return key if key.by_former_secret or hmac.compare_digest(key.secret_hash, given) else None


def _in_force(prefix: str, now: datetime) -> ApiKey | None:
    """Give the key with this beginning and its person, if both are in force."""
    for row in ask(_IN_FORCE, [prefix, now]):
        key, person = made(ApiKey, row[: width(ApiKey)]), made(Person, row[width(ApiKey) :])
        key.person = person
        return key
    return None


_IN_FORCE: Final = f"""
    SELECT {columns(ApiKey, "api_key")}, {columns(Person, "person")}
    FROM api_key JOIN person ON person.id = api_key.person_id
    WHERE prefix = %s AND revoked_at IS NULL AND expires_at > %s AND person.is_active
"""  # noqa: S608 - names of our own columns


def rotate_key(key: ApiKey, *, former_until: datetime | None, keep_former: bool = False) -> str:
    """Give a key another secret at once; the one before opens it until then, or not at all.

    ``keep_former``: the secret before the last rotation is the one in use, because the answer to that rotation was
    lost; it is kept, and the one that nobody received ends.
    """
    secret = secrets.token_urlsafe(32)
    former = key.former_secret_hash if keep_former else key.secret_hash
    ApiKey.objects.filter(pk=key.pk).update(
        secret_hash=_hash(secret),
        former_secret_hash=former if former_until else "",
        former_secret_until=former_until,
        version=F("version") + 1,
    )
    return _text(key.prefix, secret)


def note_use(key: ApiKey) -> None:
    """Keep when a key was last used, without a write on every request."""
    now = timezone.now()
    if key.last_used_at and now - key.last_used_at < LAST_USED_KEPT_TO:
        return
    unused_for_a_while = Q(last_used_at=None) | Q(last_used_at__lt=now - LAST_USED_KEPT_TO)
    # Whoever writes it keeps the row until their request is stored; another request by this key does not wait for that.
    free = ApiKey.objects.select_for_update(skip_locked=True, no_key=True).filter(unused_for_a_while, pk=key.pk)
    ApiKey.objects.filter(pk__in=free.values("pk")).update(last_used_at=now)


def revoke_key(key: ApiKey) -> None:
    """Take a key back; it opens nothing from the next request on."""
    ApiKey.objects.filter(pk=key.pk, revoked_at=None).update(revoked_at=timezone.now(), version=F("version") + 1)


def _text(prefix: str, secret: str) -> str:
    return f"vine_{prefix}_{secret}{_check(prefix, secret)}"


def _hash(secret: str) -> str:
    return hashlib.sha256(secret.encode()).hexdigest()


def _check(prefix: str, secret: str) -> str:
    return f"{zlib.crc32(f'{prefix}_{secret}'.encode()):08x}"
