"""Ask for work for a program, and find it again: one of the same at a time, and an id of the client's own for ever."""

from __future__ import annotations

import uuid
from collections.abc import Mapping
from typing import Any, Final

from django.db import connection, transaction

from balance.program_work.leases import TASKS, rows_of
from balance.program_work.models import UNFINISHED, ProgramWork
from records.access import Caller
from records.errors import Conflict, IdUnavailable
from records.models import Program
from records.services.storing import digest_of
from records.waking import wake_for

_IN_USE: Final = "This id cannot be used: it is taken by something else that was asked for. Use a new id."


def ask_for(
    kind: type[ProgramWork], caller: Caller, program: Program, what: Mapping[str, Any], own_id: uuid.UUID | None
) -> uuid.UUID:
    """Note that something is to be made, and give its id.

    While the same is being made, asking again gives that; an id of the client's own gives the same for ever.

    Raises
    ------
    IdUnavailable
        The id is taken by something else.
    Conflict
        The id is new, and the same is being made under another.
    """
    one_after_the_other(program)
    digest = digest_of({"program": str(program.pk), **what})
    known = rows_of(kind).filter(pk=own_id).values_list("created_digest", flat=True).first() if own_id else None
    if own_id is not None and known is not None:
        if known != digest:
            raise IdUnavailable(_IN_USE)
        return own_id
    running = rows_of(kind).filter(program=program, state__in=UNFINISHED, **what).values_list("pk", flat=True).first()
    if running is not None and own_id is None:
        return uuid.UUID(str(running))
    if running is not None:
        raise Conflict(
            f"The same is being made under another id: {running}. Follow that one, or ask once it is made.",
            retry_after="2",
        )
    return _noted(kind, caller, {"program": program, "created_digest": digest, **what}, own_id)


def _noted(kind: type[ProgramWork], caller: Caller, columns: dict[str, Any], own_id: uuid.UUID | None) -> uuid.UUID:
    row = kind(asked_by=caller.person, request_id=caller.request_id, **columns, **({"id": own_id} if own_id else {}))
    row.save(force_insert=True)
    transaction.on_commit(lambda: wake_for(TASKS[kind], row.pk))
    return row.pk


def one_after_the_other(program: Program) -> None:
    """Let whoever asks at once for the same program wait, so that they ask for one thing."""
    with connection.cursor() as cursor:
        cursor.execute("SELECT pg_advisory_xact_lock(hashtextextended(%s, 0))", [f"report of program {program.pk}"])
