"""From lines to batches: the quick way where a line has a known shape, else the careful way, which explains."""

from __future__ import annotations

import os
import re
import time
import uuid
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any, Final, Protocol

from records.access import OpenFarm
from records.bulk import FEW
from records.bulk.known_shapes import KnownShapes
from records.bulk.lines import array_of, digest_of_line, in_parts, kind_in
from records.bulk.rows import Batch, Fault, text_of_row
from records.bulk.shapes import Ground, Shape, shape_of
from records.errors import NotARecord
from records.kinds import KINDS, Kind
from records.models import Block
from records.planned import ask
from records.services.recording import columns_of, no_such, offset_minutes, season_of_record

#: Shapes that are remembered in one request; an app writes one or two.
MOST_SHAPES: Final = 16
#: Fewer lines are read one by one.
FEWEST_ALIKE: Final = 20
_ID: Final = re.compile(rb'"id"\s?:\s?"([0-9a-fA-F-]{36})"')
_UUID: Final = "[0-9A-Fa-f]{8}(?:-[0-9A-Fa-f]{4}){3}-[0-9A-Fa-f]{12}"
_NAMES: Final = {
    name: re.compile(b'"%b"\\s{0,9}:\\s{0,9}"(%b)"' % (name.encode(), _UUID.encode())) for name in ("vine", "block")
}


class Careful(Protocol):
    """How the API reads a document: what it said, or the fault; the records know no HTTP."""

    def document(self, line: bytes) -> Any:
        """Parse one line, strictly."""

    def said(self, kind: Kind, document: Mapping[str, Any]) -> dict[str, Any]:
        """Check the members of a document."""

    def fault(self, error: Exception) -> Fault | None:
        """Give what is wrong as a fault, or nothing for an error that is not the sender's."""


@dataclass
class Reader:
    """Reads the lines of one request; ``wrong`` gathers the faults by line."""

    opened: OpenFarm
    careful: Careful
    ground: Ground
    only_kind: Kind | None = None
    known_shapes: KnownShapes = field(default_factory=KnownShapes)
    wrong: dict[int, Fault] = field(default_factory=dict)
    ids: dict[int, str] = field(default_factory=dict)
    _shapes: list[tuple[Kind, Shape]] = field(default_factory=list)
    _asked: set[bytes] = field(default_factory=set)

    def unknown_in(self, lines: Sequence[tuple[int, bytes]]) -> Named:
        """Give the vines and blocks that the lines name and that were not looked up yet."""
        named = Named.in_lines(b"\n".join([line for _, line in lines]))
        # One by one: a set minus a mapping's keys goes through the mapping, all of a farm's vines for a line or two.
        known = self.ground.block_of_vine
        vines = {vine for vine in named.vines if vine not in known}
        return Named(vines - self._asked, named.blocks - self._asked)

    def look_up(self, named: Named) -> None:
        """Ask the database for vines and blocks; what is not there is not asked for again."""
        self._asked |= named.vines | named.blocks
        known = KNOWN_VINES.of(self.opened, named.vines)
        # What the process keeps may be another mapping by now: a request beside this one can make it begin anew.
        self.ground.block_of_vine.update((vine, known[vine]) for vine in named.vines if vine in known)
        self.ground.blocks.update(_blocks_among(self.opened, named.blocks))

    def read(self, lines: Iterable[tuple[int, bytes]]) -> list[Batch]:
        """Give one batch for each kind among the lines, in the order of their first line."""
        lines = list(lines)
        self._recall_a_shape(lines)
        alike = self._alike(lines)
        if alike is not None:
            return [alike]
        batches: dict[str, Batch] = {}
        for number, line in lines:
            found = self._quick(line)
            if found is None:
                found = self._carefully(number, line)
            if found is not None:
                kind, row_id, text = found
                batch = batches.get(kind.name)
                if batch is None:
                    batch = batches[kind.name] = Batch(kind)
                batch.add(number, row_id, text)
        return list(batches.values())

    def _recall_a_shape(self, lines: Sequence[tuple[int, bytes]]) -> None:
        """Take up the shape of the first line, if an earlier request taught it."""
        if not lines or self._shapes:
            return
        named = kind_in(lines[0][1])
        kind = self.only_kind or (KINDS.get(named[1].decode()) if named else None)
        shape = self.known_shapes.like(lines[0][1], kind, self.ground) if kind else None
        if kind and shape:
            self._shapes.append((kind, shape))

    def _alike(self, lines: Sequence[tuple[int, bytes]]) -> Batch | None:
        """Read many lines of one shape column by column, which takes half the time; nothing where some differ."""
        if len(lines) < FEWEST_ALIKE:
            return None
        if not self._shapes:
            self._carefully(*lines[0])  # it teaches the shape
        if not self._shapes:
            return None
        kind, shape = self._shapes[0]
        found = shape.read_all([line for _, line in lines])
        return None if found is None else Batch(kind, [number for number, _ in lines], *found)

    def read_documents(self, documents: Iterable[tuple[int, Any]]) -> list[Batch]:
        """Give the batches of documents that were parsed already, such as the items of a JSON array."""
        batches: dict[str, Batch] = {}
        for number, document in documents:
            try:
                kind, row_id, text = self._row(number, document, None)
            except Exception as error:
                self._note(number, error)
            else:
                batches.setdefault(kind.name, Batch(kind)).add(number, row_id, text)
        return list(batches.values())

    def _quick(self, line: bytes) -> tuple[Kind, bytes, bytes] | None:
        for at, (kind, shape) in enumerate(self._shapes):
            found = shape.read(line)
            if found is not None:
                if at:
                    self._shapes.insert(0, self._shapes.pop(at))
                return kind, *found
        return None

    def _carefully(self, number: int, line: bytes) -> tuple[Kind, bytes, bytes] | None:
        try:
            document = self.careful.document(line)
            found = self._row(number, document, line)
        except Exception as error:
            self._note(number, error)
            return None
        if len(self._shapes) < MOST_SHAPES:
            shape = shape_of(document, found[0], self.ground)
            if shape is not None:
                self._shapes.insert(0, (found[0], shape))
                self.known_shapes.note(found[0], document)
        return found

    def _note(self, number: int, error: Exception) -> None:
        fault = self.careful.fault(error)
        if fault is None:
            raise error
        self.wrong[number] = fault

    def _row(self, number: int, document: Any, line: bytes | None) -> tuple[Kind, bytes, bytes]:
        row = dict(document) if isinstance(document, Mapping) else document
        named = row.get("id") if isinstance(row, dict) else None
        if isinstance(named, str):
            self.ids[number] = named
        kind = self._kind(row)
        base_version = _base_version(row)
        said = self.careful.said(kind, row)
        row_id = said.pop("id", None) or new_id()
        self.ids[number] = str(row_id)
        columns = {**columns_of(self.opened.farm, kind, said), **self._place(said), "id": row_id}
        columns |= {"base_version": base_version, "observed_offset_minutes": offset_minutes(said.get("observed_at"))}
        if line is not None:
            columns["line_digest"] = digest_of_line(line)
        return kind, str(row_id).encode(), text_of_row(kind, columns)

    def _kind(self, row: Any) -> Kind:
        if not isinstance(row, dict):
            raise NotARecord("A record is a JSON object.")
        if self.only_kind is not None:
            row.pop("kind", None)
            return self.only_kind
        name = row.pop("kind", None)
        if not isinstance(name, str) or name not in KINDS:
            raise NotARecord(f"Say which kind of record it is. Known are: {', '.join(KINDS)}.", at="kind")
        return KINDS[name]

    def _place(self, said: Mapping[str, Any]) -> dict[str, Any]:
        """Give block and vine from what was looked up beforehand; nothing here asks the database for each line."""
        vine_id, block_id = said.get("vine_id"), said.get("block_id")
        if vine_id is not None:
            block = self.ground.block_of_vine.get(str(vine_id).encode())
            if block is None:
                raise no_such("vine")
            if block_id is not None and str(block_id).encode() != block:
                raise NotARecord("The vine stands in another block. Leave one out.", at="block")
            return {"vine_id": vine_id, "block_id": block.decode()}
        if block_id is None:
            raise NotARecord("Name the vine, or the block where the record is about one.", at="vine")
        if str(block_id).encode() not in self.ground.blocks:
            raise no_such("block")
        return {"vine_id": None, "block_id": block_id}


def _base_version(row: dict[str, Any]) -> int | None:
    version = row.pop("base_version", None)
    if version is None:
        return None
    if isinstance(version, bool) or not isinstance(version, int) or not 0 < version < 10**9:
        raise NotARecord("base_version is the version that you read, a whole number from 1.", at="base_version")
    return version


def new_id() -> uuid.UUID:
    """Make a time-ordered id (RFC 9562, version 7) for a line that brought none."""
    stamp = time.time_ns() // 1_000_000
    random = int.from_bytes(os.urandom(10), "big")
    value = (stamp & (1 << 48) - 1) << 80 | random
    value = value & ~(0xF << 76) | 0x7 << 76
    return uuid.UUID(int=value & ~(0x3 << 62) | 0x2 << 62)


def ground_of(opened: OpenFarm) -> Ground:
    """Give what lines are read against on an open farm."""
    farm = opened.farm

    def season(when: datetime, stated: int | None, kind: Kind) -> int:
        return season_of_record(farm, kind, {"observed_at": when, "season": stated})

    return Ground(KNOWN_VINES.of(opened, ()), set(), season, {})


def _blocks_among(opened: OpenFarm, named: Iterable[bytes]) -> Iterator[bytes]:
    for some in in_parts([block.decode() for block in named], 20_000):
        rows = Block.objects.for_farm(opened.farm).filter(pk__in=some)
        yield from (str(block).encode() for block in rows.values_list("id", flat=True))


@dataclass(frozen=True)
class Named:
    """The vines and blocks that a request names."""

    vines: set[bytes]
    blocks: set[bytes]

    def __bool__(self) -> bool:
        return bool(self.vines or self.blocks)

    @classmethod
    def in_lines(cls, body: bytes) -> Named:
        """Find them without reading the lines."""
        named = {
            name: {found.lower() for found in set(shape.findall(body))} if f'"{name}"'.encode() in body else set()
            for name, shape in _NAMES.items()
        }
        return cls(named["vine"], named["block"])

    @classmethod
    def in_documents(cls, documents: Iterable[Any]) -> Named:
        found: dict[str, set[bytes]] = {"vine": set(), "block": set()}
        for document in documents:
            for name, ids in found.items():
                value = document.get(name) if isinstance(document, Mapping) else None
                if isinstance(value, str) and re.fullmatch(_UUID, value):
                    ids.add(value.lower().encode())
        return cls(found["vine"], found["block"])


_BLOCKS_OF_VINES: Final = "SELECT id::text, block_id::text FROM vine WHERE farm_id = %s AND id = ANY (%s::uuid[])"


class KnownVines:
    """Which block each vine of a farm stands in, kept in the process: a vine neither moves nor goes.

    Only what is known is kept, so a vine that was planted a moment ago is asked for and found.  A caller gets here
    through the door of the farm only.
    """

    _MOST: Final = 400_000

    def __init__(self) -> None:
        self._of_farm: dict[uuid.UUID, dict[bytes, bytes]] = {}

    def of(self, opened: OpenFarm, named: Iterable[bytes]) -> dict[bytes, bytes]:
        """Give the blocks of the named vines, and perhaps of others of the farm."""
        known = self._of_farm.setdefault(opened.farm.pk, {})
        unknown = [vine for vine in named if vine not in known]
        for some in in_parts(unknown, 20_000):
            # As text: 100,000 UUID objects would take over a second.
            found = ask(_BLOCKS_OF_VINES, [opened.farm.pk, array_of(some)], again=len(some) <= FEW)
            known.update((vine.encode(), block.encode()) for vine, block in found)
        if sum(map(len, self._of_farm.values())) > self._MOST:
            self._of_farm = {opened.farm.pk: known}
        return known

    def forget(self) -> None:
        self._of_farm = {}


KNOWN_VINES: Final = KnownVines()


def in_order(lines: list[bytes]) -> list[tuple[int, bytes]]:
    """Give the lines with their numbers, ordered by kind and id, so that no two writers wait for each other.

    Lines in order already, as an app with time-ordered ids sends them, are left as they are.
    """
    if lines and _are_in_order(lines):
        return list(enumerate(lines))
    return sorted(enumerate(lines), key=_place_in_order)


def _are_in_order(lines: list[bytes]) -> bool:
    """Look at lines that all begin alike, up to their ids: only of such is it told without reading them."""
    kind, row_id = kind_in(lines[0]), _ID.search(lines[0])
    if kind is None or row_id is None or kind.start() > row_id.start():
        return False
    start, end = row_id.span(1)
    alike = lines[0][:start]
    if not all(line.startswith(alike) for line in lines):
        return False
    ids = [line[start:end] for line in lines]
    return all(map(bytes.__le__, ids, ids[1:]))


def _place_in_order(numbered: tuple[int, bytes]) -> tuple[bytes, bytes, int]:
    number, line = numbered
    kind, row_id = kind_in(line), _ID.search(line)
    return kind[1] if kind else b"", row_id[1].lower() if row_id else b"g", number
