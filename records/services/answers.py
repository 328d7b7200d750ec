"""Know a request again by its key, and give it the answer that it was given.

Whoever comes first takes a lock that ends with the transaction; a second one meanwhile is told so at once and waits
for nobody.  The answer is stored in the transaction of the effect: a process that dies between the two leaves
neither, and no key can be held by the dead.  Only success is kept.  A refusal changed nothing, so the request is
judged anew: what was refused for a fault can be mended under the same key.
"""

from __future__ import annotations

import uuid
import zlib
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import timedelta
from typing import Final

from django.db import connection, transaction
from django.db.models.functions import Now

from records.context import set_context
from records.errors import AnswerNotKept, KeyReused, UnderWay
from records.models import Farm, KeptAnswer

KEPT_FOR: Final = timedelta(days=30)
NO_FARM: Final = uuid.UUID(int=0)
#: Bodies above this are kept compressed; an answer of many rows says much alike, and shrinks to a tenth.
LARGEST_PLAIN: Final = 65_536
LARGEST_KEPT: Final = 8_000_000
#: One statement of the sweep removes so many, so that it never holds anybody up.
SWEPT_AT_ONCE: Final = 1_000


@dataclass(frozen=True)
class Known:
    """A request as its key names it: where it belongs, and what it says."""

    farm_id: uuid.UUID
    person_id: uuid.UUID
    scope: str
    fingerprint: str


@dataclass(frozen=True)
class Answered:
    """An answer as it was given."""

    status: int
    headers: Mapping[str, str]
    body: bytes


def answered_before(request: Known) -> Answered | None:
    """Give the answer that this request was given, or nothing when it is new; hold its key until the transaction ends.

    Raises
    ------
    UnderWay
        The same key is being worked on at this moment.
    KeyReused
        The key was used for a request that said something else.
    AnswerNotKept
        It took effect, but its answer was not kept.
    """
    with connection.cursor() as cursor:
        name = f"{request.farm_id} {request.person_id} {request.scope}"
        cursor.execute("SELECT pg_try_advisory_xact_lock(hashtextextended(%s, 0))", [name])
        if cursor.fetchone() != (True,):
            raise UnderWay
    kept = KeptAnswer.objects.for_farm(request.farm_id).filter(person_id=request.person_id, scope=request.scope)
    row = kept.filter(received_at__gte=Now() - KEPT_FOR).first()
    if row is None:
        kept.delete()  # one that has expired and was not swept yet: the request is a new one
        return None
    if row.fingerprint != request.fingerprint:
        raise KeyReused
    if row.body is None:
        raise AnswerNotKept
    body = zlib.decompress(row.body) if row.deflated else bytes(row.body)
    return Answered(row.status, row.headers, body)


def keep_answer(request: Known, answer: Answered, *, is_secret: bool) -> None:
    """Keep what a request that took effect was answered; of a secret, and of very much, only that it took effect."""
    if request.farm_id != NO_FARM and not Farm.objects.filter(pk=request.farm_id).exists():
        return  # the request erased its farm, and nothing of it may stay
    deflated = len(answer.body) > LARGEST_PLAIN
    body = zlib.compress(answer.body, 3) if deflated else answer.body
    KeptAnswer.objects.create(
        farm_id=request.farm_id,
        person_id=request.person_id,
        scope=request.scope,
        fingerprint=request.fingerprint,
        status=answer.status,
        headers=dict(answer.headers),
        body=None if is_secret or len(body) > LARGEST_KEPT else body,
        deflated=deflated,
    )


def forget_old_answers(most: int = 100) -> int:
    """Remove answers that were kept long enough, in at most so many bounded steps; give how many went."""
    total = 0
    for _ in range(most):
        with transaction.atomic(), connection.cursor() as cursor:
            set_context(sweep="on")
            cursor.execute(_SWEEP, [KEPT_FOR.days, SWEPT_AT_ONCE])
            total += cursor.rowcount
            if cursor.rowcount < SWEPT_AT_ONCE:
                break
    return total


_SWEEP: Final = """
    DELETE FROM kept_answer WHERE (farm_id, id) IN (
        SELECT farm_id, id FROM kept_answer WHERE received_at < now() - make_interval(days => %s) LIMIT %s)
"""
