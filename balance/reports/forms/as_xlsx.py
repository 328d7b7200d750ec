"""The tables of a report as a workbook, the same bytes from the same document; nothing in it is a formula or a link."""

from __future__ import annotations

import io
import re
from collections.abc import Iterator
from datetime import UTC, datetime
from typing import Any, Final

import xlsxwriter

from balance.reports.forms.tables import Cell, Heading, Sheet, sheets_of
from balance.reports.words import UNIT_WORDS, moment_of

#: What a cell of a workbook holds (ECMA-376 leaves it open, the file format's users do not); more is cut, and says so.
MOST_CHARACTERS: Final = 32_767
CUT: Final = " … cut; the whole text stands in the CSV and the JSON."
_NARROWEST, _WIDEST = 8, 48
_NAME_LENGTH: Final = 31
_NOT_IN_NAMES: Final = re.compile(r"[\[\]:*?/\\\x00-\x1f]+")
#: Taken by the format itself, in any case of letters.
_RESERVED: Final = ("history",)


def render(document: dict[str, Any]) -> bytes:
    """Write the workbook, the summary first and what to mind last."""
    return workbook_of(document, sheets_of(document))


def workbook_of(document: dict[str, Any], sheets: list[Sheet]) -> bytes:
    """Write a workbook of tables, and what to mind last."""
    content = io.BytesIO()
    options = {"in_memory": True, "strings_to_formulas": False, "strings_to_urls": False, "strings_to_numbers": False}
    with xlsxwriter.Workbook(content, options) as book:
        book.set_properties({
            "title": f"Season report {document['season']}"[:200],
            "created": datetime.fromisoformat(document["taken_at"]).astimezone(UTC).replace(tzinfo=None),
        })  # fmt: skip
        formats = Formats(book)
        taken: set[str] = set()
        for sheet in [*sheets, _about(document, sheets)]:
            _write(book.add_worksheet(_name(sheet.title, taken)), sheet, formats)
    return content.getvalue()


class Formats:
    """The formats of a workbook, each made once."""

    def __init__(self, book: Any) -> None:
        self._book = book
        self._numbers: dict[int, Any] = {}
        self.heading = book.add_format({"bold": True, "text_wrap": True, "valign": "top", "bg_color": "#eef3ea",
                                        "bottom": 1})  # fmt: skip
        self.text = book.add_format({"text_wrap": True, "valign": "top"})
        self.plain_number = book.add_format({"valign": "top"})

    def number(self, digits: int | None) -> Any:
        """Give the format that shows so many decimals; the number beneath keeps all of its own."""
        if digits is None:
            return self.plain_number
        if digits not in self._numbers:
            shown = "0." + "0" * digits if digits else "0"
            self._numbers[digits] = self._book.add_format({"num_format": shown, "valign": "top"})
        return self._numbers[digits]


def _write(target: Any, sheet: Sheet, formats: Formats) -> None:
    for at, heading in enumerate(sheet.headings):
        target.write_string(0, at, _whole(heading.title), formats.heading)
        target.set_column(at, at, _width(heading, [line[at] for line in sheet.lines]))
    for row, line in enumerate(sheet.lines, start=1):
        for at, (cell, heading) in enumerate(zip(line, sheet.headings, strict=True)):
            if isinstance(cell, str):
                target.write_string(row, at, _whole(cell), formats.text)
            elif cell is not None:
                target.write_number(row, at, cell, formats.number(heading.digits))
    target.freeze_panes(1, 1 if len(sheet.headings) > 3 else 0)
    target.set_landscape()
    target.fit_to_pages(1, 0)
    target.repeat_rows(0)


def _whole(text: str) -> str:
    return text if len(text) <= MOST_CHARACTERS else text[: MOST_CHARACTERS - len(CUT)] + CUT


def _width(heading: Heading, cells: list[Cell]) -> int:
    """Give a column the width of its longest line, within what can be read."""
    longest = max((len(part) for cell in cells for part in _lines(cell, heading)), default=0)
    return max(_NARROWEST, min(_WIDEST, max(longest, min(len(heading.title), 16)) + 2))


def _lines(cell: Cell, heading: Heading) -> list[str]:
    if isinstance(cell, str):
        return cell.split("\n")
    return [] if cell is None else [f"{cell:.{heading.digits or 0}f}"]


def _name(title: str, taken: set[str]) -> str:
    """Give a worksheet a name that the format takes and no other has, in any case of letters."""
    bare = _NOT_IN_NAMES.sub(" ", title).strip("' ")[:_NAME_LENGTH].strip("' ") or "Table"
    names = (bare, *(f"{bare[: _NAME_LENGTH - 5]} ({number})" for number in range(2, 1000)))
    found = next(name for name in names if name.lower() not in taken and name.lower() not in _RESERVED)
    taken.add(found.lower())
    return found


def _about(document: dict[str, Any], sheets: list[Sheet]) -> Sheet:
    """Give what every printed number needs beside it: whose, of when, made by what, and what to mind."""
    facts = [
        ("Program" if "program" in document else "Farm", document["farm_name"]),
        ("Region", document["region"]),
        ("Season", str(document["season"])),
        ("As it was at", moment_of(document["taken_at"])),
        ("Units", UNIT_WORDS[document["units"]]),
        ("Made by version", document["made_by"]),
        ("Check code", document["check_code"]),
        *(("Caution", caution) for caution in document["cautions"]),
        *_notes(sheets),
    ]
    return Sheet(
        "about", "About this report", [Heading("About"), Heading("This report")], [list(fact) for fact in facts]
    )


def _notes(sheets: list[Sheet]) -> Iterator[tuple[str, str]]:
    for sheet in sheets:
        yield from ((sheet.title, note) for note in sheet.notes)
