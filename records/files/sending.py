"""A table of one kind of record that is sent in bulk: read as a file is, stored as lines are, answered at once."""

from __future__ import annotations

from records.access import OpenFarm, Right
from records.bulk import MOST_DOCUMENTS
from records.bulk.reading import Careful
from records.bulk.rows import Fault
from records.bulk.storing import Outcome
from records.bulk.taking import Options, Taken, take_documents
from records.errors import NotValid
from records.files.reading import Document, check_headings, documents_of
from records.imports.reading import read_table
from records.kinds import Kind


def take_table(opened: OpenFarm, kind: Kind, content: bytes, options: Options, careful: Careful) -> Taken:
    """Take in the lines of a table; what keeps a line from being read stands among the outcomes.

    Raises
    ------
    NotValid
        It is no table, a heading is unknown, or it has too many lines.
    """
    opened.require(Right.RECORD)
    table = read_table(content)
    check_headings(table, kind)
    if len(table.lines) > MOST_DOCUMENTS:
        sentence = (
            f"There are {len(table.lines):,} lines; a table of at most {MOST_DOCUMENTS:,} is taken at once. Send it to "
            "…/imports, where a worker takes it in."
        )
        raise NotValid.at(code="too_many_lines", detail=sentence)
    documents = documents_of(opened, kind, table)
    readable = [number for number, document in enumerate(documents) if document.said is not None]
    taken = take_documents(opened, [dict(documents[number].said or {}) for number in readable], options, careful)
    return Taken(
        outcomes={readable[at]: outcome for at, outcome in taken.outcomes.items()}
        | {number: _refused(document) for number, document in enumerate(documents) if document.said is None},
        doubts=taken.doubts,
        ids={readable[at]: row_id for at, row_id in taken.ids.items()},
    )


def _refused(document: Document) -> Outcome:
    errors = tuple({"path": (each.column,), "code": each.code, "detail": each.reason} for each in document.findings)
    sentence = errors[0]["detail"] if len(errors) == 1 else f"{len(errors)} cells are not valid."
    return Outcome("error", fault=Fault("not_valid", str(sentence), errors))
