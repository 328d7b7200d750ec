"""From the bytes of a CSV or XLSX file to its lines, each with its number in the file."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from typing import Final

from records.errors import NotValid
from records.imports.spreadsheets import is_spreadsheet, read_sheet

MOST_LINES: Final = 20_000
MOST_COLUMNS: Final = 200
LONGEST_LINE: Final = 16_384
_DELIMITERS: Final = ",;\t"


@dataclass(frozen=True)
class Line:
    """One line of a file: its number (the headings are line 1), its values by heading, and cells too many."""

    number: int
    values: dict[str, str]
    extra: tuple[str, ...] = ()
    missing: int = 0


@dataclass(frozen=True)
class Table:
    """A file as read: its headings, its lines, and what separates its cells (nothing, in a spreadsheet)."""

    headings: tuple[str, ...]
    lines: tuple[Line, ...]
    separator: str

    @property
    def decimal_comma(self) -> bool:
        """Whether numbers may have decimal commas: where a comma separates cells, it would say two things."""
        return self.separator == ";"


def read_table(content: bytes, sheet: str = "") -> Table:
    """Read a file with a line of headings.

    CSV is UTF-8, separated by comma, semicolon or tab (RFC 4180); of an XLSX, one sheet is read, the first that is
    shown unless it is named.

    Raises
    ------
    NotValid
        The file as a whole cannot be read; the sentence names the line.
    """
    if is_spreadsheet(content):
        return _of_sheet(list(read_sheet(content, sheet)))
    if sheet:
        raise NotValid.at("sheet", code="no_sheets", detail="A CSV file has no sheets. Leave out sheet.")
    return _of_csv(content)


def _of_sheet(rows: list[list[str]]) -> Table:
    """Give a sheet as a table: its columns end where its headings do, and cells beyond them are too many."""
    head = rows[0] if rows else []
    width = max((number for number, heading in enumerate(head, start=1) if heading.strip()), default=0)
    if not width:
        raise _unreadable("the first row of the sheet is empty; it holds the headings, and each row below it a vine")
    headings = tuple(heading.strip() for heading in head[:width])
    _check_headings(headings)
    _check_length((number, "".join(row)) for number, row in enumerate(rows, start=1))
    return Table(headings, tuple(_rows(rows[1:], headings)), "")


def _rows(rows: list[list[str]], headings: tuple[str, ...]) -> Iterator[Line]:
    written = ((number, row) for number, row in enumerate(rows, start=2) if any(cell.strip() for cell in row))
    for count, (number, row) in enumerate(written, start=1):
        _check_count(count)
        values = dict(zip(headings, (cell.strip() for cell in row), strict=False))
        extra = [cell for cell in row[len(headings) :] if cell.strip()]
        yield Line(number, values, tuple(extra))


def _of_csv(content: bytes) -> Table:
    text = _text(content)
    if not text.strip():
        raise _unreadable("the file is empty; send a line of headings and a line a vine")
    delimiter = _delimiter(text)
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=delimiter, strict=True)
    try:
        headings = tuple(heading.strip() for heading in next(reader))
        lines = tuple(_lines(reader, headings))
    except csv.Error as error:
        raise _unreadable(f"line {reader.line_num} cannot be read as CSV: {error}") from error
    _check_headings(headings)
    return Table(headings, lines, delimiter)


def _check_headings(headings: tuple[str, ...]) -> None:
    if len(headings) > MOST_COLUMNS:
        raise _unreadable(f"line 1 has {len(headings):,} headings; at most {MOST_COLUMNS} are read")
    twice = {heading for heading in headings if headings.count(heading) > 1}
    if twice:
        raise _unreadable(f"the heading {sorted(twice)[0]!r} stands twice in line 1; give each column its own")


def _check_count(lines: int) -> None:
    if lines > MOST_LINES:
        raise _unreadable(f"the file has more than {MOST_LINES:,} vines; split it and send the parts")


def _check_length(lines: Iterable[tuple[int, str]]) -> None:
    for number, written in lines:
        if len(written) > LONGEST_LINE:
            raise _unreadable(f"line {number} has {len(written):,} characters; at most {LONGEST_LINE:,} are read")
        if "\x00" in written:
            raise _unreadable(f"line {number} holds a null character")


def _text(content: bytes) -> str:
    try:
        text = content.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = content[: error.start].count(b"\n") + 1
        raise _unreadable(f"line {line} is not UTF-8; save the file as UTF-8 and send it again") from error
    _check_length(enumerate(text.splitlines(), start=1))
    return text


def _delimiter(text: str) -> str:
    head = text.splitlines()[0]
    return max(_DELIMITERS, key=head.count)


def _lines(reader: Iterator[list[str]], headings: tuple[str, ...]) -> Iterator[Line]:
    written = (cells for cells in reader if any(cell.strip() for cell in cells))
    for count, cells in enumerate(written, start=1):
        _check_count(count)
        values = dict(zip(headings, (cell.strip() for cell in cells), strict=False))
        number: int = reader.line_num  # type: ignore[attr-defined]
        yield Line(number, values, tuple(cells[len(headings) :]), max(0, len(headings) - len(cells)))


def _unreadable(sentence: str) -> NotValid:
    return NotValid.at("file", code="unreadable_file", detail=f"{sentence[0].upper()}{sentence[1:]}.")
