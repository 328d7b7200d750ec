"""A line on its way to the database: the text of its columns, as COPY reads them.

The columns are the same whichever way a line was read, so that the quick way and the careful way can be held to
each other.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field
from datetime import UTC, datetime
from decimal import Decimal
from typing import Any, Final

from records.kinds import Kind

#: Columns that every kind's line fills, before and after those of its members.
BEFORE: Final = ("id", "vine_id", "block_id", "observed_at", "season", "observed_offset_minutes")
AFTER: Final = ("note", "device", "line_digest", "base_version")
NULL: Final = b"\\N"


def columns_of(kind: Kind) -> tuple[str, ...]:
    """Give the columns of a kind's lines, in their order."""
    return (*BEFORE, *member_columns(kind), *AFTER)


def member_columns(kind: Kind) -> tuple[str, ...]:
    """Give the columns of a kind's members, in their order."""
    return tuple(column for member in kind.members for column in member.columns)


@dataclass(frozen=True)
class Fault:
    """Why a line was not stored: a kind of problem, a sentence, and the places in the line."""

    code: str
    detail: str
    errors: tuple[Mapping[str, Any], ...] = ()
    current: Any = None


@dataclass
class Batch:
    """Lines of one kind that were read and found good: for each its number, its id and the text of its columns."""

    kind: Kind
    numbers: list[int] = field(default_factory=list)
    ids: list[bytes] = field(default_factory=list)
    texts: list[bytes] = field(default_factory=list)

    def __len__(self) -> int:
        return len(self.numbers)

    def add(self, number: int, row_id: bytes, text: bytes) -> None:
        self.numbers.append(number)
        self.ids.append(row_id)
        self.texts.append(text)

    def without(self, numbers: Iterable[int]) -> Batch:
        """Give the batch without some of its lines."""
        gone = set(numbers)
        kept = [at for at, number in enumerate(self.numbers) if number not in gone]
        return Batch(
            self.kind,
            [self.numbers[at] for at in kept],
            [self.ids[at] for at in kept],
            [self.texts[at] for at in kept],
        )


def text_of(value: Any) -> bytes:
    r"""Write a value as COPY reads it.

    Examples
    --------
    >>> text_of(None), text_of(True), text_of("a\tb"), text_of(["x", "y"])
    (b'\\N', b't', b'a\\tb', b'{x,y}')
    """
    for kind, write in _WRITTEN:
        if isinstance(value, kind):
            return write(value)
    return str(value).encode()


def _escaped(text: str) -> bytes:
    escaped = text.replace("\\", "\\\\").replace("\t", "\\t").replace("\n", "\\n").replace("\r", "\\r")
    return escaped.encode()


_WRITTEN: Final[tuple[tuple[type, Callable[[Any], bytes]], ...]] = (
    (type(None), lambda _: NULL),
    (bool, lambda value: b"t" if value else b"f"),
    (str, _escaped),
    (Decimal, lambda value: f"{value:f}".encode()),
    # In UTC, because PostgreSQL reads no offset beyond 15:59.
    (datetime, lambda value: value.astimezone(UTC).isoformat().encode()),
    # Words from a list need no quotation marks.
    (list, lambda value: b"{" + b",".join(text_of(item) for item in value) + b"}"),
)


def text_of_row(kind: Kind, columns: Mapping[str, Any]) -> bytes:
    """Write a line's columns, each where the kind has it."""
    return b"\t".join(text_of(columns.get(name)) for name in columns_of(kind))
