"""Take in many records in one transaction: one part is read while the one before it is stored."""

from __future__ import annotations

import uuid
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from typing import Any, Final

from records.access import OpenFarm, Right
from records.bulk.known_shapes import KNOWN_SHAPES
from records.bulk.lines import in_parts, lines_of, made_ahead
from records.bulk.reading import KNOWN_VINES, Careful, Named, Reader, ground_of, in_order
from records.bulk.repeats import Repeats, repeats_among
from records.bulk.rows import NULL, Batch, columns_of
from records.bulk.storing import OnConflict, Outcome, Outcomes, Store, VinesMoved
from records.kinds import Kind
from records.kinds.definitions import DORMANT_RECORD
from records.services.unit_doubts import UnitDoubt, Weighed, doubts_about

#: Lines of one part: large enough that a statement is worth its while, small enough that reading and storing overlap.
PART: Final = 10_000
#: So many weights of a part are looked at for the wrong unit.
MOST_WEIGHTS: Final = 1_000
_BLOCK, _SEASON, _UNIT, _KG = (
    columns_of(DORMANT_RECORD).index(name)
    for name in ("block_id", "season", "pruning_weight_unit", "pruning_weight_kg")
)


@dataclass(frozen=True)
class Options:
    """How a request wants its lines taken."""

    on_conflict: OnConflict = OnConflict.ERROR
    atomic: bool = False
    kind: Kind | None = None
    imported_from: uuid.UUID | None = None
    doubts_units: bool = True


@dataclass
class Taken:
    """What became of a request: an outcome for each line, by its number, and the ids that the lines have."""

    outcomes: Outcomes = field(default_factory=dict)
    doubts: list[UnitDoubt] = field(default_factory=list)
    ids: dict[int, str] = field(default_factory=dict)

    @property
    def failed(self) -> bool:
        return any(outcome.status == "error" for outcome in self.outcomes.values())


def take_lines(opened: OpenFarm, body: bytes, options: Options, careful: Careful) -> Taken:
    """Take in the records of a body with one JSON document a line; blank lines count for nothing."""
    opened.require(Right.RECORD)
    ordered = in_order(lines_of(body))
    # To update is to let the last line count, also one that was sent before: there, every line is read.
    updates = options.on_conflict is OnConflict.UPDATE
    repeats = Repeats() if updates else repeats_among(opened, ordered, options.kind)
    reader = Reader(opened, careful, ground_of(opened), options.kind, KNOWN_SHAPES)
    taken = _take(opened, reader, options, _read_ahead(reader, repeats.without(ordered)))
    taken.outcomes |= repeats.outcomes
    taken.ids |= repeats.ids
    return taken


def take_documents(opened: OpenFarm, documents: Sequence[Any], options: Options, careful: Careful) -> Taken:
    """Take in records that were parsed already."""
    opened.require(Right.RECORD)
    ordered = sorted(enumerate(documents), key=_place_in_order)
    reader = Reader(opened, careful, ground_of(opened), options.kind)
    reader.look_up(Named.in_documents(documents))
    return _take(opened, reader, options, (reader.read_documents(part) for part in in_parts(ordered, PART)))


def _take(opened: OpenFarm, reader: Reader, options: Options, parts: Iterable[list[Batch]]) -> Taken:
    taken = Taken()
    store = Store(opened, options.on_conflict, options.imported_from)
    weighed: list[Weighed] = []
    try:
        for batches in parts:
            for batch in batches:
                outcomes = store.store(batch)
                taken.outcomes |= outcomes
                weighed += _some_weights(batch, outcomes) if options.doubts_units else ()
                taken.ids.update(zip(batch.numbers, map(bytes.decode, batch.ids), strict=True))
    except VinesMoved:
        KNOWN_VINES.forget()
        raise
    taken.outcomes |= {number: Outcome("error", fault=fault) for number, fault in reader.wrong.items()}
    taken.ids |= reader.ids
    taken.doubts = doubts_about(opened, weighed)
    return taken


def _some_weights(batch: Batch, outcomes: Outcomes) -> Iterator[Weighed]:
    """Give weights of a batch that were stored now: of a large one only some, which is enough to doubt a unit."""
    if batch.kind is not DORMANT_RECORD:
        return
    for at in range(0, len(batch), max(1, len(batch) // MOST_WEIGHTS)):
        if outcomes[batch.numbers[at]].status in {"created", "updated"}:
            columns = batch.texts[at].split(b"\t", _KG + 1)
            kg = columns[_KG]
            if kg != NULL and float(kg) > 0:
                season = int(columns[_SEASON])
                yield Weighed(columns[_BLOCK].decode(), season, columns[_UNIT].decode(), float(kg))


_Part = Sequence[tuple[int, bytes]]


def _read_ahead(reader: Reader, ordered: _Part) -> Iterator[list[Batch]]:
    """Read the next part while the caller stores the one before.

    What reads ahead never asks the database: what it would have to ask, it gives back, and this thread asks.
    """

    def read_or_ask(part: _Part) -> list[Batch] | Named:
        unknown = reader.unknown_in(part)
        return unknown if unknown else reader.read(part)

    for part, found in made_ahead(ordered, PART, read_or_ask):
        if isinstance(found, Named):
            reader.look_up(found)
            yield reader.read(part)
        else:
            yield found


def _place_in_order(numbered: tuple[int, Any]) -> tuple[str, str, int]:
    number, document = numbered
    kind, row_id = (document.get(name) if isinstance(document, dict) else None for name in ("kind", "id"))
    return str(kind), str(row_id).lower() if row_id else "g", number
