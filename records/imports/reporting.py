"""The report of an import as CSV: a line a finding, and one for each line of which there is nothing to say."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from typing import Any, Final

from records.exporting.cells import line_of
from records.models import ImportRow

COLUMNS: Final = ("line", "outcome", "column", "value", "code", "reason", "vine", "record")


def report_lines(lines: Iterable[ImportRow]) -> Iterator[str]:
    """Give the report line by line; texts that a spreadsheet would take for formulas are made harmless."""
    yield ",".join(COLUMNS) + "\r\n"
    for line in lines:
        for finding in line.findings or [{}]:
            yield _line(line, finding)


def _line(line: ImportRow, finding: Mapping[str, Any]) -> str:
    said = [finding.get(name) for name in ("column", "value", "code", "reason")]
    ids = [str(each) if each else None for each in (line.vine_id, line.record_id)]
    cells = [(str(line.line), True), *((text, False) for text in (line.outcome, *said, *ids))]
    return line_of(cells)
