"""From the lines of a file to documents, as the kind's endpoint takes them, about vines and blocks found by name.

What a line says of its vine is looked up for the whole file at once.  A line whose vine is not found is not read any
further; the file's sender may mend the name, or let the vine be planted first.
"""

from __future__ import annotations

import json
import uuid
from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from decimal import Decimal
from typing import Any, Final

from records.access import OpenFarm
from records.errors import NotValid
from records.files.cells import instant_of, said_of, unharmed
from records.files.columns import NO_RECORD, UNITS_ROW, columns_of, shown_only
from records.imports.checking import Finding, is_blank, number_of
from records.imports.reading import Line, Table
from records.imports.storing import id_of
from records.kinds import Kind, Place
from records.kinds.members import Measured
from records.models import Block, Vine

MOST_BLOCKS: Final = 1_000
Where = tuple[uuid.UUID, int, int]


@dataclass(frozen=True)
class Document:
    """One line as the kind's endpoint takes it, or what kept it from being read."""

    line: Line
    said: Mapping[str, Any] | None = None
    findings: tuple[Finding, ...] = ()

    @property
    def place(self) -> str:
        """What it is about, so that lines about one thing come together."""
        return str((self.said or {}).get("vine") or (self.said or {}).get("block") or "")


@dataclass
class _Names:
    """Blocks and vines of the farm by the names that a file uses."""

    blocks: dict[str, uuid.UUID] = field(default_factory=dict)
    vines: dict[Where, uuid.UUID] = field(default_factory=dict)


def check_headings(table: Table, kind: Kind) -> None:
    """Refuse a file with a heading that says nothing to us: a value would be lost without a word.

    Raises
    ------
    NotValid
        With the heading, and those that are known.
    """
    known = [column.heading for column in columns_of(kind)]
    unknown = [heading for heading in table.headings if heading not in {*known, *shown_only(kind)}]
    if unknown:
        raise NotValid.at(
            "file",
            code="unknown_heading",
            detail=f"{unknown[0][:80]!r} is no column of a file of {kind.plural.replace('_', ' ')}. Known are: "
            f"{', '.join(known)}. The template is at /api/v1/templates/{kind.name}.csv.",
        )
    if not {"observed_at", "season"} & {*table.headings}:
        raise NotValid.at("file", code="headings_missing", detail="The file has no column observed_at, and no season.")


def documents_of(opened: OpenFarm, kind: Kind, table: Table, block_name: str = "") -> list[Document]:
    """Give a document for every line that is a record; ``block_name`` stands where a line names no block."""
    lines = [line for line in table.lines if not _first(table, line).startswith(NO_RECORD)]
    names = _names(opened, lines, block_name, decimal_comma=table.decimal_comma)
    reader = _Reader(opened, kind, table, names, block_name, _units(table, kind))
    seen: dict[str, int] = {}
    return [_without_twins(reader.document(line), seen) for line in lines]


def _first(table: Table, line: Line) -> str:
    return line.values.get(table.headings[0], "").lower()


def _units(table: Table, kind: Kind) -> dict[str, str]:
    """Give the unit of each column from the row of units."""
    rows = [line.values for line in table.lines if _first(table, line).startswith(UNITS_ROW)]
    measured = [member.name for member in kind.members if isinstance(member, Measured)]
    return {name: rows[0].get(name, "") for name in measured} if rows else {}


def _names(opened: OpenFarm, lines: Iterable[Line], block_name: str, *, decimal_comma: bool) -> _Names:
    named = {unharmed(line.values.get("block", "")) or block_name for line in lines}
    if len(named) > MOST_BLOCKS:
        raise NotValid.at("file", code="too_many_blocks", detail=f"A file is about at most {MOST_BLOCKS} blocks.")
    blocks = dict(Block.objects.for_farm(opened.farm).filter(name__in=named).values_list("name", "id"))
    rows: dict[uuid.UUID, set[int]] = defaultdict(set)
    for line in lines:
        block = blocks.get(unharmed(line.values.get("block", "")) or block_name)
        number = _whole(line.values.get("row", ""), decimal_comma=decimal_comma)
        if block and number:
            rows[block].add(number)
    names = _Names(blocks)
    for block, numbers in rows.items():
        vines = Vine.objects.for_farm(opened.farm).filter(block_id=block, row_number__in=numbers)
        found = vines.values_list("row_number", "place", "id").iterator()
        names.vines |= {(block, row_number, place): vine_id for row_number, place, vine_id in found}
    return names


def _whole(text: str, *, decimal_comma: bool) -> int | None:
    number = number_of(text, decimal_comma=decimal_comma)
    return int(number) if number is not None and number == number.to_integral_value() and 0 < number < 10_000 else None


@dataclass(frozen=True)
class _Reader:
    """Reads the lines of one file."""

    opened: OpenFarm
    kind: Kind
    table: Table
    names: _Names
    block_name: str
    units: Mapping[str, str]

    def document(self, line: Line) -> Document:
        if any(line.extra):
            reason = (
                "the line has more cells than there are headings, so a value may stand in the wrong column; write "
                "decimals with a point, and put a text that holds the separator in quotes"
            )
            return self._refused(line, self.table.headings[-1], "ragged_line", reason)
        located = self._place(line)
        if isinstance(located, Document):
            return located
        said = {**located, **self._times(line.values), **self._members(line.values)}
        said |= {name: text for name in ("note", "device") if (text := unharmed(line.values.get(name, "")))}
        return Document(line, {**said, **self._identity(line.values, said)})

    def _refused(self, line: Line, column: str, code: str, reason: str) -> Document:
        finding = Finding(line.number, column, line.values.get(column, ""), code, reason)
        return Document(line, findings=(finding,))

    def _place(self, line: Line) -> dict[str, str] | Document:
        """Give vine or block of a line, or the line as one that cannot be read."""
        name = unharmed(line.values.get("block", "")) or self.block_name
        block = self.names.blocks.get(name)
        if block is None:
            return self._refused(line, "block", "no_such_block", _no_block(name))
        texts = [line.values.get(column, "") for column in ("row", "vine")]
        if all(map(is_blank, texts)):
            if self.kind.place is Place.VINE:
                return self._refused(line, "vine", "required", "say the row and the place of the vine")
            return {"block": str(block)}
        numbers = [_whole(text, decimal_comma=self.table.decimal_comma) for text in texts]
        for column, number in zip(("row", "vine"), numbers, strict=True):
            if number is None:
                reason = "a whole number from 1 to 9999 is needed here"
                return self._refused(line, column, "not_a_whole_number", reason)
        vine = self.names.vines.get((block, numbers[0] or 0, numbers[1] or 0))
        if vine is None:
            reason = f"block {name!r} has no vine at row {numbers[0]}, place {numbers[1]}; mend it, or plant it first"
            return self._refused(line, "vine", "no_such_vine", reason)
        return {"vine": str(vine)}

    def _times(self, values: Mapping[str, str]) -> dict[str, Any]:
        said: dict[str, Any] = {}
        if text := values.get("observed_at", ""):
            said["observed_at"] = instant_of(text, self.opened.farm.time_zone)
        if not is_blank(season := values.get("season", "")):
            said["season"] = _number_or_text(season, decimal_comma=self.table.decimal_comma)
        return said

    def _members(self, values: Mapping[str, str]) -> dict[str, Any]:
        said: dict[str, Any] = {}
        for member in self.kind.members:
            comma = self.table.decimal_comma
            is_said, value = said_of(member, values, self.units.get(member.name, ""), decimal_comma=comma)
            if is_said:
                said[member.name] = value
        return said

    def _identity(self, values: Mapping[str, str], said: Mapping[str, Any]) -> dict[str, Any]:
        """Give the record's own id and version; without one, the id follows from what the line says.

        So the same line is the same record in whichever file it comes.
        """
        identity: dict[str, Any] = {"id": values.get("id", "")}
        if not identity["id"]:
            content = json.dumps(said, sort_keys=True, default=_canonical)
            identity["id"] = str(id_of(self.opened.farm.pk, self.kind.name, content))
        elif not is_blank(version := values.get("version", "")):
            identity["base_version"] = _number_or_text(version, decimal_comma=self.table.decimal_comma)
        return identity


def _number_or_text(text: str, *, decimal_comma: bool) -> Any:
    number = number_of(text, decimal_comma=decimal_comma)
    if number is None:
        return text
    return int(number) if number == number.to_integral_value() and abs(number) < 10**15 else number


def _canonical(number: Decimal) -> str:
    return f"{number.normalize():f}"


def _no_block(name: str) -> str:
    if not name:
        return "say the block, in this column or as the parameter block"
    return f"the farm has no block named {name[:120]!r}; mend the name, or create the block first"


def _without_twins(document: Document, seen: dict[str, int]) -> Document:
    """Keep the first of two lines that are the same record, and say of the second which line it repeats."""
    if document.said is None:
        return document
    named = str(document.said["id"]).lower()
    first = seen.setdefault(named, document.line.number)
    if first == document.line.number:
        return document
    reason = f"line {first} says the same or has the same id; this line is kept as sent but not stored"
    finding = Finding(document.line.number, "id", document.line.values.get("id", ""), "record_twice", reason)
    return Document(document.line, findings=(finding,))


def in_chunks(documents: Iterable[Document], size: int) -> Iterator[list[Document]]:
    """Give the documents in parts, those about one vine or block together, so that they clash within one part."""
    part: list[Document] = []
    for document in sorted(documents, key=lambda each: (each.place, each.line.number)):
        if len(part) >= size and (not document.place or document.place != part[-1].place):
            yield part
            part = []
        part.append(document)
    if part:
        yield part
