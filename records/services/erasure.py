"""Erase a farm whole: every row of it in every table, with history, jobs and exports; one line of a log stays.

The work is the database's own (``records.erasing``): the serving role may not remove records.  The log is what a
restore needs: a backup from before the erasure brings the farm back, and ``replay`` erases it again.
"""

from __future__ import annotations

import unicodedata
import uuid
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any, Final

import orjson
from django.db import OperationalError, connection, transaction
from psycopg.errors import QueryCanceled

from records.access import OpenFarm, Right
from records.context import set_context
from records.errors import Conflict, NotAllowed, NotFound, NotValid
from records.models import Erasure, Farm, Role

#: A request may take this long for it [ms]; a farm that takes longer is erased by the command, which has no limit.
LONGEST_MS: Final = 120_000
_LINES_AT_A_TIME: Final = 500


@dataclass(frozen=True)
class Erased:
    """What became of one farm: how many rows went, by table."""

    farm_id: uuid.UUID
    counts: Mapping[str, int]


def erase(opened: OpenFarm, typed_name: str, *, limit_ms: int = LONGEST_MS) -> Erasure:
    """Erase the open farm, asked for by its owner with its name typed as confirmation.

    Raises
    ------
    NotAllowed
        The caller is no owner of the farm.
    NotValid
        The name is not the farm's.
    Conflict
        The farm is so large that a request may not take as long as its erasure would.
    """
    opened.require(Right.MANAGE)
    if opened.role != Role.OWNER:
        raise NotAllowed(f"As {opened.role} of this farm you may not erase it; only an owner may.")
    try:
        return _confirmed(opened.farm, typed_name, limit_ms)
    except OperationalError as error:
        if not isinstance(error.__cause__, QueryCanceled):
            raise
        raise Conflict(
            "The farm is too large to be erased within a request. Nothing was erased. Whoever runs the service erases "
            f"it with: manage.py erase_farm {opened.farm.pk}"
        ) from error


def erase_as_operator(farm_id: uuid.UUID, typed_name: str) -> Erasure:
    """Erase a farm on behalf of whoever runs the machine, in the open transaction."""
    set_context(farms=[farm_id], person=None, key=None)
    farm = Farm.objects.filter(pk=farm_id).first()
    if farm is None:
        raise NotFound(f"There is no farm {farm_id}.")
    return _confirmed(farm, typed_name, 0)


def _confirmed(farm: Farm, typed_name: str, limit_ms: int) -> Erasure:
    if _as_read(typed_name) != _as_read(farm.name):
        raise NotValid.at(
            "farm_name",
            code="confirmation_differs",
            detail="This is not the farm's name. Nothing was erased. Write the name exactly as the farm shows it.",
        )
    _erase(farm.pk, farm.name, limit_ms)
    return Erasure.objects.get(erased_farm_id=farm.pk)


def _as_read(name: str) -> str:
    """Give a name as the eye sees it: two ways to write one accent are one."""
    return unicodedata.normalize("NFC", name).strip()


def log_lines() -> Iterator[bytes]:
    """Give the log as lines of JSON: to be kept apart from the backups, and replayed after a restore."""
    for line in Erasure.objects.order_by("erased_at", "id").iterator(_LINES_AT_A_TIME):
        told = {"farm": line.erased_farm_id, "erased_at": line.erased_at, "asked_by": line.asked_by_id}
        yield orjson.dumps({**told, "counts": line.counts}) + b"\n"


def replay(lines: Iterable[bytes | str] = ()) -> list[Erased]:
    """Erase again every farm that the log names, each in a transaction of its own; safe to repeat.

    ``lines`` are lines of a log kept elsewhere (``log_lines``), which a restored database does not know yet: they are
    added to its log.  Gives the farms that had come back.
    """
    known = [(line.erased_farm_id, line.erased_at, line.asked_by_id) for line in Erasure.objects.order_by("erased_at")]
    again = []
    for farm_id, erased_at, asked_by in [*known, *(_read(line) for line in lines if line.strip())]:
        with transaction.atomic():
            set_context(farms=[farm_id], person=None, key=None)
            farm = Farm.objects.filter(pk=farm_id).first()
            counts = _erase(farm_id, farm.name if farm else "", 0, first=(erased_at, asked_by))
            set_context(farms=None)
        if farm is not None:
            again.append(Erased(farm_id, counts))
    return again


_Line = tuple[uuid.UUID, datetime, uuid.UUID | None]


def _read(line: bytes | str) -> _Line:
    """Read one line of a log.

    Raises
    ------
    NotValid
        It is no line of a log of erasures.
    """
    try:
        told = orjson.loads(line)
        asked_by = told["asked_by"]
        return (
            uuid.UUID(str(told["farm"])),
            datetime.fromisoformat(str(told["erased_at"])),
            uuid.UUID(str(asked_by)) if asked_by else None,
        )
    except (KeyError, TypeError, ValueError) as error:
        raise NotValid(f"{str(line)[:80]!r} is no line of a log of erasures.") from error


def _erase(
    farm_id: uuid.UUID, name: str, limit_ms: int, *, first: tuple[datetime | None, uuid.UUID | None] = (None, None)
) -> dict[str, int]:
    with connection.cursor() as cursor:
        cursor.execute("SELECT set_config('statement_timeout', %s, true)", [str(limit_ms)])
        cursor.execute("SELECT erase_farm(%s, %s, %s, %s)", [farm_id, name, *first])
        found: tuple[Any] = cursor.fetchone()
    counts: dict[str, int] = orjson.loads(found[0])  # Django's cursors leave JSON as text
    return counts
