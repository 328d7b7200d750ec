"""Take in a file of records of one kind: part by part, each line by the kind's own rules, with what became of it."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import asdict
from typing import Any, Final

from django.db import transaction

from records.access import OpenFarm
from records.bulk.reading import Careful
from records.bulk.rows import Fault
from records.bulk.storing import OnConflict
from records.bulk.taking import Options, Taken, take_documents
from records.files.reading import Document
from records.imports.checking import Finding
from records.imports.storing import id_of
from records.inserting import insert_rows
from records.kinds import Kind
from records.models import Import, ImportRow
from records.models.imports import Existing, LineOutcome

#: Lines about one thing that are stored one after the other; a season brings no more pickings.
MOST_TURNS: Final = 60
#: What became of a document → what became of its line.
_OUTCOMES: Final = {
    "created": LineOutcome.CREATED,
    "updated": LineOutcome.UPDATED,
    "unchanged": LineOutcome.UNCHANGED,
    "error": LineOutcome.NOT_STORED,
}


def take_part(opened: OpenFarm, imported: Import, kind: Kind, part: Sequence[Document], careful: Careful) -> None:
    """Store the records of some lines, and what became of each, in the open transaction; of a dry run the latter only.

    A dry run does all of it and undoes the records, so that it cannot report what the run would not do.
    """
    rows = [
        _row(imported, document, LineOutcome.NOT_STORED, document.findings) for document in part if not document.said
    ]
    with transaction.atomic():
        for documents in _in_turns(kind, [document for document in part if document.said is not None]):
            taken = _take(opened, imported, kind, documents, careful)
            rows += _rows(imported, kind, documents, taken)
        if imported.dry_run:
            transaction.set_rollback(True)
    insert_rows(ImportRow, rows, skip_known=True)


def _in_turns(kind: Kind, documents: Sequence[Document]) -> list[list[Document]]:
    """Let a second line about one thing come after the first, where one record only can stand: the first is stored."""
    turns: list[list[Document]] = []
    before: Counter[str] = Counter()
    for document in documents:
        turn = min(before[document.place], MOST_TURNS - 1) if kind.once else 0
        before[document.place] += 1
        if turn == len(turns):
            turns.append([])
        turns[turn].append(document)
    return turns


def _take(opened: OpenFarm, imported: Import, kind: Kind, documents: Sequence[Document], careful: Careful) -> Taken:
    updates = imported.existing == Existing.UPDATE
    said = [dict(document.said or {}) for document in documents]
    for each in said:
        if not updates:
            each.pop("base_version", None)
    conflict = OnConflict.UPDATE if updates else OnConflict.ERROR
    return take_documents(opened, said, Options(conflict, kind=kind, imported_from=imported.pk), careful)


def _rows(imported: Import, kind: Kind, documents: Sequence[Document], taken: Taken) -> Iterator[dict[str, Any]]:
    doubts = _doubts(kind, taken, documents)
    for number, document in enumerate(documents):
        outcome = taken.outcomes[number]
        findings = [*_findings(document, outcome.fault), *doubts.get(number, ())]
        made = taken.ids.get(number) if outcome.fault is None else None
        yield _row(imported, document, _OUTCOMES[outcome.status], findings, made)


def _row(
    imported: Import,
    document: Document,
    outcome: LineOutcome,
    findings: Sequence[Finding],
    record_id: str | None = None,
) -> dict[str, Any]:
    line, said = document.line, document.said or {}
    extra = {"": list(line.extra)} if line.extra else {}
    return {
        "id": id_of(imported.farm_id, imported.pk, line.number),
        "farm_id": imported.farm_id,
        "imported_id": imported.pk,
        "line": line.number,
        "values": {**line.values, **extra},
        "outcome": outcome.value,
        "findings": [asdict(finding) for finding in findings],
        "vine_id": said.get("vine"),
        "record_id": record_id,
    }


def _findings(document: Document, fault: Fault | None) -> Iterator[Finding]:
    """Name what the kind's rules found, each at the cell that it is about."""
    if fault is None:
        return
    for error in fault.errors or ({"path": (), "code": fault.code, "detail": fault.detail},):
        column = _column(document, error["path"])
        value = document.line.values.get(column, "")
        yield Finding(document.line.number, column, value, error["code"], str(error["detail"]))


def _column(document: Document, path: Sequence[str | int]) -> str:
    """Give the heading of the column that a place in the document came from."""
    steps = [str(step) for step in path]
    whole = "_".join(steps)
    headings = document.line.values
    for heading in (whole, *steps[:1]):
        if heading in headings:
            return heading
    return steps[0] if steps else next(iter(headings))


def _doubts(kind: Kind, taken: Taken, documents: Sequence[Document]) -> Mapping[int, Sequence[Finding]]:
    """Give each doubt about a block's unit to one line, so that it stands in the report once."""
    if not taken.doubts:
        return {}
    first = next((number for number in range(len(documents)) if taken.outcomes[number].fault is None), 0)
    line = documents[first].line
    column = kind.members[0].name
    value = line.values.get(column, "")
    return {first: [Finding(line.number, column, value, "unit_doubt", each.detail) for each in taken.doubts]}
