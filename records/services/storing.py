"""Create once and change with care: the two ways by which a farm-owned row is written.

Creating locks nothing: the unique keys decide, and the loser of a race reads what the winner stored.
Changing locks the one row until the transaction ends and compares its version under that lock.
"""

from __future__ import annotations

import hashlib
import json
import re
import uuid
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from decimal import Decimal
from typing import Any, Final, Generic, TypeVar

from django.db import IntegrityError, connection, models, transaction
from django.db.models.functions import Now

from records.context import set_context
from records.errors import IdInUse, NotFound, Stale, Withdrawn
from records.models import Farm
from records.models.base import FarmOwned

#: The keys of a partition bear the table's names and its seasons (see ``records.partitioning``).
_OF_A_PARTITION: Final = re.compile(r"__(before_)?\d{4}$")

Owned = TypeVar("Owned", bound=FarmOwned)


@dataclass(frozen=True)
class Stored(Generic[Owned]):
    """A row as it stands now, and whether this call created it."""

    row: Owned
    created: bool


def digest_of(columns: Mapping[str, Any]) -> str:
    """Give a digest of canonical values: 2.8 and 2.80 are one, and one instant in two offsets is one."""
    canonical = {name: _canonical(value) for name, value in columns.items()}
    return hashlib.sha256(json.dumps(canonical, sort_keys=True).encode()).hexdigest()


def _canonical(value: Any) -> Any:
    if isinstance(value, Decimal):
        return f"{value.normalize():f}"
    if isinstance(value, datetime):
        return value.astimezone(UTC).isoformat()
    if isinstance(value, models.Model):
        return str(value.pk)
    return value if isinstance(value, bool | int | str | None) else str(value)


def create_once(
    model: type[Owned],
    farm: Farm,
    row_id: uuid.UUID | None,
    columns: Mapping[str, Any],
    *,
    provenance: Mapping[str, Any] | None = None,
) -> Stored[Owned]:
    """Create a row, or know the request again if it was sent before.

    ``columns`` is what the request said, and decides whether two requests are the same; ``provenance`` is
    stored as well but decides nothing (another app may repeat the request).

    Raises
    ------
    IdInUse
        The farm has a row with this id and other content.
    django.db.IntegrityError
        Another row has this place; the constraint's name says which.
    """
    digest = digest_of(columns)
    values = {**columns, **(provenance or {}), "created_digest": digest, "farm_id": farm.pk}
    if row_id is not None:
        values["id"] = row_id
    try:
        with transaction.atomic():
            row = model(**values)
            row.save(force_insert=True)
    except IntegrityError:
        known = model.objects.for_farm(farm).filter(pk=row_id).first() if row_id else None
        if known is None:
            raise
        return Stored(known_again(known, digest, columns), created=False)
    row.refresh_from_db()
    return Stored(row, created=True)


def known_again(known: Owned, digest: str, columns: Mapping[str, Any]) -> Owned:
    """Accept a repeat of the creating request, or of what the row says today; refuse anything else.

    Raises
    ------
    Withdrawn
        The row was withdrawn: a late phone does not bring it back.
    IdInUse
        The row says something else.
    """
    if getattr(known, "withdrawn_at", None) is not None:
        raise Withdrawn(
            "The record with this id was withdrawn. To let it stand again, ask for its reinstatement; for a new "
            "record, use a new id.",
            current=known,
        )
    current = {name: getattr(known, name) for name in columns}
    if digest in {known.created_digest, digest_of(current)} or _said_at_first(known, columns) == digest:
        return known
    raise IdInUse(
        "This id is in use for a record with other content. To change that record, send PATCH with If-Match; "
        "for a new record, use a new id.",
        current=known,
    )


def _said_at_first(known: FarmOwned, columns: Mapping[str, Any]) -> str | None:
    """Give the digest of the first version of a row that came in bulk, where only the line's own was taken.

    The database turns the kept version back into typed columns, because JSON read by Python would lose digits.
    """
    if known.created_digest or known.version == 1:
        return None
    table = known._meta.db_table  # noqa: SLF001 - a documented name of Django's
    listed = ", ".join(f'first."{name}"' for name in columns)
    kept = f"""
        SELECT {listed} FROM record_change c, jsonb_populate_record(NULL::"{table}", c.old_row) AS first
        WHERE c.farm_id = %s AND c.entity = %s AND c.entity_id = %s AND c.version = 1
    """  # noqa: S608 - names of our own columns
    with connection.cursor() as cursor:
        cursor.execute(kept, [known.farm_id, table, known.pk])
        first = cursor.fetchone()
    return None if first is None else digest_of(dict(zip(columns, first, strict=True)))


def constraint_of(error: IntegrityError) -> str:
    """Give the name of the constraint that refused a row; one partition's is the whole table's."""
    name = str(getattr(getattr(error.__cause__, "diag", None), "constraint_name", "") or "")
    return _OF_A_PARTITION.sub("", name)


def change(
    model: type[Owned],
    farm: Farm,
    row_id: uuid.UUID,
    columns: Mapping[str, Any],
    *,
    version: int | None,
    reason: str = "",
    revives: bool = False,
) -> Owned:
    """Change a row from the version that the caller knows to the next; ``None`` takes whichever stands.

    A change that says what stands there already is no change, and makes no version.  So a change that is sent again
    after a lost reply is answered with what it made (RFC 9110, section 13.1.1, allows it).

    Raises
    ------
    NotFound
        The farm has no such row.
    Withdrawn
        It was withdrawn, and this is not its reinstatement.
    Stale
        It was changed since; the data carries the current row.
    """
    row: Owned | None = model.objects.for_farm(farm).select_for_update(of=("self",)).filter(pk=row_id).first()
    if row is None:
        raise NotFound
    if getattr(row, "withdrawn_at", None) is not None and not revives:
        raise Withdrawn("The record was withdrawn. Ask for its reinstatement first.", current=row)
    changed = {name: value for name, value in columns.items() if getattr(row, name) != value}
    if not changed and version in {None, row.version, row.version - 1}:
        return row
    if version is not None and row.version != version:
        raise Stale(
            f"The record is at version {row.version}, not {version}. Read it again and repeat the change on it.",
            current=row,
        )
    set_context(reason=reason)
    new_version = row.version + 1
    # The update names its columns, so that it can never write back a value that it did not mean to change.
    model.objects.for_farm(farm).filter(pk=row_id).update(**changed, version=new_version, changed_at=Now())
    row.refresh_from_db()
    return row
