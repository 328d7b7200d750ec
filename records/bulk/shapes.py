"""The quick way to read a line: a field app writes all of its lines in one shape.

A shape is the order of the members in a line that was read the careful way.  From it follows one pattern that
accepts a line of the same shape only if every value is plainly good: known members, each once, units that the
service knows, text without an escape.  Whatever the pattern or a value's check does not accept is no error: the
line is read the careful way, which knows how to say what is wrong.  So the quick way may refuse too much, never too
little; ``tests/records/test_bulk_shapes.py`` holds it to the careful way.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal
from functools import partial
from operator import itemgetter
from typing import Any, Final

from records.bulk.lines import digest_of_line
from records.bulk.rows import NULL
from records.errors import Refusal
from records.kinds import Kind
from records.kinds.members import (
    STAGE_SCALES,
    Choice,
    Count,
    Day,
    Flag,
    Measured,
    Member,
    Number,
    Stage,
    Text,
)
from records.units import Quantity, UnitError, canonical_code, to_canonical

Groups = Sequence[Any]
Take = Callable[[Groups], bytes]
#: A value that is seen again is not read again; a cache that is full begins anew.
MOST_KEPT: Final = 50_000


class NotQuick(Exception):
    """A value is not plainly good: the line has to be read the careful way."""


@dataclass(frozen=True)
class Ground:
    """What the values of lines are read against: the farm's vines, and the season that a date belongs to."""

    block_of_vine: dict[bytes, bytes]
    blocks: set[bytes]
    season_of: Callable[[datetime, int | None, Kind], int]
    kept: dict[Any, bytes]


_UUID: Final = rb'"([0-9a-f]{8}-[0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{12})"'
_TIME: Final = rb'"(20\d\d-\d\d-\d\dT\d\d:[0-5]\d:[0-5]\d(?:\.\d{1,6})?(?:Z|[+-](?:0\d|1[0-4]):[0-5]\d))"'
_WHOLE: Final = rb"(0|[1-9]\d{0,8})"
_DECIMAL: Final = rb"((?:0|[1-9]\d{0,6})(?:\.\d{1,7})?)"
_SPACE: Final = rb"[ ]?"
#: Printable ASCII without quotation marks and backslashes, and no space at either end.
_WORDS: Final = rb"((?:[!#-\[\]-~](?:[ !#-\[\]-~]*[!#-\[\]-~])?)?)"


@dataclass(frozen=True)
class Shape:
    """One order of members, the pattern that accepts it, and how each column is taken from what it found."""

    pattern: re.Pattern[bytes]
    row_id: int
    takes: tuple[Take, ...]
    #: What each column hangs on, by its groups: a value seen in many lines is taken once; None is taken line by line.
    hangs_on: tuple[tuple[int, ...] | None, ...]

    def read_all(self, lines: Sequence[bytes]) -> tuple[list[bytes], list[bytes]] | None:
        """Give ids and column texts of many lines, column by column; nothing where one is not plainly good."""
        matches = [match.groups() for match in map(self.pattern.fullmatch, lines) if match is not None]
        if len(matches) < len(lines):
            return None
        try:
            columns = [_column(take, at, matches) for take, at in zip(self.takes, self.hangs_on, strict=True)]
        except NotQuick:
            return None
        columns.append([digest_of_line(line).encode() for line in lines])
        columns.append([NULL] * len(lines))
        return [groups[self.row_id] for groups in matches], list(map(b"\t".join, zip(*columns, strict=True)))

    def read(self, line: bytes) -> tuple[bytes, bytes] | None:
        """Give the id and the column text of a line, or nothing where it is not plainly good."""
        match = self.pattern.fullmatch(line)
        if match is None:
            return None
        groups = match.groups()
        try:
            text = b"\t".join([take(groups) for take in self.takes])
        except NotQuick:
            return None
        digest = digest_of_line(line).encode()
        return groups[self.row_id], b"%b\t%b\t\\N" % (text, digest)


def _column(take: Take, hangs_on: tuple[int, ...] | None, matches: Sequence[Groups]) -> list[bytes]:
    if hangs_on is None:
        return [take(groups) for groups in matches]
    if not hangs_on:
        return [take(matches[0])] * len(matches)
    keys = list(map(itemgetter(*hangs_on), matches))
    found = {key: take(groups) for key, groups in dict(zip(keys, matches, strict=True)).items()}
    return [found[key] for key in keys]


def shape_of(document: Any, kind: Kind, ground: Ground) -> Shape | None:
    """Give the shape of a document, or nothing where its members have no quick way."""
    if not isinstance(document, dict) or "id" not in document or "vine" not in document:
        return None
    builder = _Builder(kind, ground)
    for name, value in document.items():
        if not builder.add(name, value):
            return None
    return builder.shape()


class _Builder:
    """Puts a pattern together, member by member."""

    def __init__(self, kind: Kind, ground: Ground) -> None:
        self.kind, self.ground = kind, ground
        self.parts: list[bytes] = []
        self.groups = 0
        self.at: dict[str, int] = {}

    def add(self, name: str, value: Any) -> bool:
        """Add a member; false where it has no quick way."""
        pattern = self._pattern(name, value)
        if pattern is None:
            return False
        self.parts.append(b'"' + name.encode() + b'":' + _SPACE + pattern)
        self.at[name] = self.groups
        self.groups += re.compile(pattern).groups
        return True

    def _pattern(self, name: str, value: Any) -> bytes | None:
        if name == "kind":
            return b'"' + self.kind.name.encode() + b'"'
        if name in _COMMON:
            return _COMMON[name] if value is not None else None
        member = self.kind.by_name.get(name)
        if member is None or type(member) not in _PATTERNS:
            return None
        nullable = not member.required and getattr(member, "default", None) is None and not isinstance(member, Text)
        pattern = _PATTERNS[type(member)](member, value)
        return b"(?:null|" + pattern + b")" if nullable and pattern else pattern

    def shape(self) -> Shape:
        body = rb"\{" + (rb"," + _SPACE).join(self.parts) + rb"\}"
        takes = [self._id, self._places, self._times, *(self._member(member) for member in self.kind.members)]
        takes += [self._words("note", 4000), self._words("device", 80)]
        named: list[tuple[str, type[Member]]] = [
            *((member.name, type(member)) for member in self.kind.members),
            ("note", Text),
            ("device", Text),
        ]
        hangs_on: list[tuple[int, ...] | None] = [None] * 3  # the id, the place and the time
        hangs_on += [self._groups_of(name, member) for name, member in named]
        return Shape(re.compile(body), self.at["id"], tuple(takes), tuple(hangs_on))

    def _groups_of(self, name: str, member: type[Member]) -> tuple[int, ...]:
        at = self.at.get(name)
        if at is None:
            return ()
        return (at, at + 1) if member in {Measured, Stage} else (at,)

    def _id(self, groups: Groups) -> bytes:
        row_id: bytes = groups[self.at["id"]]
        return row_id

    def _places(self, groups: Groups) -> bytes:
        vine = groups[self.at["vine"]]
        block = self.ground.block_of_vine.get(vine)
        if block is None:
            raise NotQuick
        return b"%b\t%b" % (vine, block)

    def _times(self, groups: Groups) -> bytes:
        observed_at = groups[self.at["observed_at"]] if "observed_at" in self.at else None
        season = groups[self.at["season"]] if "season" in self.at else None
        if observed_at is None:
            raise NotQuick
        kept = self.ground.kept
        key = (_month_key(observed_at), season)
        found = kept.get(key)
        if found is None:
            found = keep(kept, key, _season_and_offset(self.ground, self.kind, observed_at, season))
        if observed_at[:10] not in kept:
            keep(kept, observed_at[:10], _day(observed_at[:10]))
        if observed_at[11:13] > b"23":
            raise NotQuick
        return b"%b\t%b" % (observed_at, found)

    def _member(self, member: Member) -> Take:
        at = self.at.get(member.name)
        if at is None:
            return _constant(_unsaid(member))
        return partial(_TAKES[type(member)], member, at, self.ground.kept)

    def _words(self, name: str, longest: int) -> Take:
        at = self.at.get(name)
        return _constant(b"") if at is None else partial(_text, Text(name, "", longest), at, {})


_COMMON: Final = {
    "id": _UUID,
    "vine": _UUID,
    "observed_at": _TIME,
    "season": rb"([12]\d{3})",
    "note": b'"' + _WORDS + b'"',
    "device": b'"' + _WORDS + b'"',
}


def _quantity_pattern(_: Measured, value: Any) -> bytes | None:
    if value is not None and list(value) != ["value", "unit"]:
        return None
    head, between = rb'\{"value":' + _SPACE, rb"," + _SPACE + rb'"unit":' + _SPACE
    return head + _DECIMAL + between + rb'"([^"\\\s]{1,20})"\}'


def _stage_pattern(_: Stage, value: Any) -> bytes | None:
    if value is not None and list(value) != ["scale", "code"]:
        return None
    scales = "|".join(STAGE_SCALES).encode()
    head, between = rb'\{"scale":' + _SPACE, rb"," + _SPACE + rb'"code":' + _SPACE
    return head + rb'"(' + scales + rb')"' + between + rb'"(\d{1,2})"\}'


_PATTERNS: Final[dict[type[Member], Callable[[Any, Any], bytes | None]]] = {
    Count: lambda _, __: _WHOLE,
    Number: lambda _, __: _DECIMAL,
    Measured: _quantity_pattern,
    Choice: lambda member, _: b'"(' + "|".join(member.words).encode() + b')"',
    Flag: lambda _, __: b"(true|false)",
    Day: lambda _, __: rb'"(\d{4}-\d\d-\d\d)"',
    Stage: _stage_pattern,
    Text: lambda _, __: b'"' + _WORDS + b'"',
}


def keep(kept: dict[Any, bytes], key: Any, value: bytes) -> bytes:
    """Keep what a value became, so that it is not read twice."""
    if len(kept) >= MOST_KEPT:
        kept.clear()
    kept[key] = value
    return value


def _constant(text: bytes) -> Take:
    return lambda _: text


def _unsaid(member: Member) -> bytes:
    if isinstance(member, Text):
        return b""
    default = getattr(member, "default", None)
    return str(default).encode() if default is not None else b"\t".join([NULL] * len(member.columns))


def _count(member: Count, at: int, kept: dict[Any, bytes], groups: Groups) -> bytes:
    value = groups[at]
    if value is None:
        return NULL
    found = kept.get((member.name, value))
    if found is None:
        if not member.low <= int(value) <= member.high:
            raise NotQuick
        found = keep(kept, (member.name, value), value)
    return found


def _number(member: Number, at: int, kept: dict[Any, bytes], groups: Groups) -> bytes:
    value = groups[at]
    if value is None:
        return NULL
    found = kept.get((member.name, value))
    if found is None:
        decimals = len(value.partition(b".")[2])
        if decimals > member.decimals or not member.low <= Decimal(value.decode()) <= member.high:
            raise NotQuick
        found = keep(kept, (member.name, value), value)
    return found


def _quantity(member: Measured, at: int, kept: dict[Any, bytes], groups: Groups) -> bytes:
    value, unit = groups[at], groups[at + 1]
    if value is None:
        return b"\\N\t\\N\t\\N"
    key = (member.name, value, unit)
    return kept.get(key) or keep(kept, key, _converted(member, value.decode(), unit.decode("utf-8", "replace")))


def _converted(member: Measured, value: str, unit: str) -> bytes:
    try:
        quantity = Quantity(Decimal(value), canonical_code(unit))
        exact = to_canonical(quantity, member.dimension)
    except UnitError as error:
        raise NotQuick from error
    if not member.low <= exact <= member.high:
        raise NotQuick
    return f"{quantity.value:f}\t{quantity.unit}\t{exact:f}".encode()


def _choice(_: Choice, at: int, __: dict[Any, bytes], groups: Groups) -> bytes:
    return groups[at] or NULL


def _flag(_: Flag, at: int, __: dict[Any, bytes], groups: Groups) -> bytes:
    value = groups[at]
    return NULL if value is None else value[:1]


def _dated(_: Day, at: int, kept: dict[Any, bytes], groups: Groups) -> bytes:
    value = groups[at]
    return NULL if value is None else kept.get(value) or keep(kept, value, _day(value))


def _day(value: bytes) -> bytes:
    try:
        day = date.fromisoformat(value.decode())
    except ValueError as error:
        raise NotQuick from error
    if not 1900 <= day.year <= 2100:
        raise NotQuick
    return value


def _stage(_: Stage, at: int, kept: dict[Any, bytes], groups: Groups) -> bytes:
    scale, code = groups[at], groups[at + 1]
    if scale is None:
        return b"\\N\t\\N"
    key = (scale, code)
    if key not in kept:
        if not re.fullmatch(STAGE_SCALES[scale.decode()], code.decode()):
            raise NotQuick
        keep(kept, key, b"%b\t%b" % (scale, code))
    return kept[key]


def _text(member: Text, at: int, _: dict[Any, bytes], groups: Groups) -> bytes:
    value: bytes = groups[at]
    if len(value) > member.longest:
        raise NotQuick
    return value


_TAKES: Final[dict[type[Member], Callable[..., bytes]]] = {
    Count: _count,
    Number: _number,
    Measured: _quantity,
    Choice: _choice,
    Flag: _flag,
    Day: _dated,
    Stage: _stage,
    Text: _text,
}


def _month_key(observed_at: bytes) -> tuple[bytes, bytes]:
    """Give what a time's season hangs on: within a month its day is enough, near the ends its minute counts."""
    offset = b"Z" if observed_at.endswith(b"Z") else observed_at[-6:]
    return observed_at[:10] if b"02" < observed_at[8:10] < b"28" else observed_at[:16], offset


def _season_and_offset(ground: Ground, kind: Kind, observed_at: bytes, season: bytes | None) -> bytes:
    try:
        when = datetime.fromisoformat(observed_at.decode().replace("Z", "+00:00"))
        found = ground.season_of(when, int(season) if season else None, kind)
    except (ValueError, Refusal) as error:
        raise NotQuick from error
    offset = when.utcoffset()
    minutes = int(offset.total_seconds() // 60) if offset else 0
    return b"%d\t%d" % (found, minutes)
