"""Records of a kind as lines of a file: as they were sent, the canonical values beside them, vines by their places."""

from __future__ import annotations

import uuid
from collections.abc import Iterator, Sequence
from datetime import UTC, datetime, timedelta, timezone
from decimal import Decimal
from typing import Any

from records.access import OpenFarm
from records.files.columns import NONE, canonical_heading, columns_of
from records.files.writing import Cell
from records.kinds import Kind
from records.kinds.members import Measured, Member
from records.models import Block, Vine
from records.models.recorded import Recorded


def headings_of(kind: Kind) -> list[str]:
    """Give the headings of a file taken out: those that are read back, each canonical value beside its quantity."""
    headings: list[str] = []
    for column in columns_of(kind):
        headings.append(column.heading)
        if isinstance(column.member, Measured) and column.heading.endswith("_unit"):
            headings.append(canonical_heading(column.member))
    return [*headings, "label", "app_name", "source", "received_at", "changed_at"]


def lines_of(opened: OpenFarm, kind: Kind, records: Sequence[Recorded]) -> Iterator[list[Cell]]:
    """Give a line for each record."""
    vine_ids = {vine_id for record in records if (vine_id := getattr(record, "vine_id", None))}
    found = Vine.objects.for_farm(opened.farm).filter(pk__in=vine_ids).values_list("id", "row_number", "place", "label")
    vines = {vine_id: place for vine_id, *place in found}
    block_ids = {record.block_id for record in records}
    blocks = dict(Block.objects.for_farm(opened.farm).filter(pk__in=block_ids).values_list("id", "name"))
    for record in records:
        yield _line(kind, record, blocks[record.block_id], vines.get(_vine(record), [None, None, None]))


def _vine(record: Recorded) -> uuid.UUID | None:
    vine_id: uuid.UUID | None = getattr(record, "vine_id", None)
    return vine_id


def _line(kind: Kind, record: Recorded, block: str, vine: Sequence[Any]) -> list[Cell]:
    row_number, place, label = vine
    members = [cell for member in kind.members for cell in _cells(record, member)]
    return [
        block, row_number, place, _observed(record), record.season, *members, record.note, record.device,
        str(record.pk), record.version, label, record.app_name, record.source, _utc(record.received_at),
        _utc(record.changed_at),
    ]  # fmt: skip


def _observed(record: Recorded) -> str | None:
    if record.observed_at is None:
        return None
    offset = timezone(timedelta(minutes=record.observed_offset_minutes or 0))
    return record.observed_at.astimezone(offset).isoformat()


def _utc(instant: datetime) -> str:
    return instant.astimezone(UTC).isoformat().replace("+00:00", "Z")


def _cells(record: Recorded, member: Member) -> Iterator[Cell]:
    for column in member.columns:
        value = getattr(record, column)
        if isinstance(value, Decimal):
            yield value.normalize()
        elif isinstance(value, bool):
            yield "yes" if value else "no"
        elif isinstance(value, list):
            yield "; ".join(value) or NONE
        else:
            yield value if value is None or isinstance(value, int) else str(value)
