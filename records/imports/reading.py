"""From the bytes of a CSV file to its lines, each with its number in the file."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Final

from records.errors import NotValid

MOST_LINES: Final = 20_000
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
    """A file as read: its headings, its lines, and what separates its cells."""

    headings: tuple[str, ...]
    lines: tuple[Line, ...]
    separator: str

    @property
    def decimal_comma(self) -> bool:
        """Whether numbers may have decimal commas: where a comma separates cells, it would say two things."""
        return self.separator == ";"


def read_table(content: bytes) -> Table:
    """Read a CSV file: UTF-8, separated by comma, semicolon or tab (RFC 4180), with a line of headings.

    Raises
    ------
    NotValid
        The file as a whole cannot be read; the sentence names the line.
    """
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
    twice = {heading for heading in headings if headings.count(heading) > 1}
    if twice:
        raise _unreadable(f"the heading {sorted(twice)[0]!r} stands twice in line 1; give each column its own")
    return Table(headings, lines, delimiter)


def _text(content: bytes) -> str:
    try:
        text = content.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = content[: error.start].count(b"\n") + 1
        raise _unreadable(f"line {line} is not UTF-8; save the file as UTF-8 and send it again") from error
    if "\x00" in text:
        raise _unreadable(f"line {text[: text.index(chr(0))].count(chr(10)) + 1} holds a null character")
    for number, written in enumerate(text.splitlines(), start=1):
        if len(written) > LONGEST_LINE:
            raise _unreadable(f"line {number} has {len(written):,} characters; at most {LONGEST_LINE:,} are read")
    return text


def _delimiter(text: str) -> str:
    head = text.splitlines()[0]
    return max(_DELIMITERS, key=head.count)


def _lines(reader: Iterator[list[str]], headings: tuple[str, ...]) -> Iterator[Line]:
    written = (cells for cells in reader if any(cell.strip() for cell in cells))
    for count, cells in enumerate(written, start=1):
        if count > MOST_LINES:
            raise _unreadable(f"the file has more than {MOST_LINES:,} vines; split it and send the parts")
        values = dict(zip(headings, (cell.strip() for cell in cells), strict=False))
        number: int = reader.line_num  # type: ignore[attr-defined]
        yield Line(number, values, tuple(cells[len(headings) :]), max(0, len(headings) - len(cells)))


def _unreadable(sentence: str) -> NotValid:
    return NotValid.at("file", code="unreadable_file", detail=f"{sentence[0].upper()}{sentence[1:]}.")
