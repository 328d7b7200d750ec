"""The tables of a report as CSV files in one ZIP, the same bytes from the same document."""

from __future__ import annotations

import io
import textwrap
import zipfile
from datetime import UTC, datetime
from decimal import Decimal
from typing import Any, Final

from balance.formulas.counting import counted
from balance.reports.forms.tables import Cell, Sheet, sheets_of
from balance.reports.words import UNIT_WORDS, moment_of
from records.files.writing import as_csv

README: Final = "README.txt"
_WIDTH: Final = 100
#: What tells that a file of the archive was made on no particular system, readable by everybody.
_UNIX: Final = 3
_READABLE: Final = 0o644 << 16


def render(document: dict[str, Any]) -> bytes:
    """Write the archive."""
    return archive_of(document, sheets_of(document))


def archive_of(document: dict[str, Any], sheets: list[Sheet]) -> bytes:
    """Write an archive of tables; every file bears the moment that the report stands for."""
    moment = datetime.fromisoformat(document["taken_at"]).astimezone(UTC).timetuple()[:6]
    files = {f"{sheet.name}.csv": _file(sheet) for sheet in sheets} | {README: readme(document, sheets).encode()}
    content = io.BytesIO()
    with zipfile.ZipFile(content, "w", zipfile.ZIP_DEFLATED) as archive:
        for name in sorted(files):
            entry = zipfile.ZipInfo(name, moment)
            entry.compress_type, entry.create_system, entry.external_attr = zipfile.ZIP_DEFLATED, _UNIX, _READABLE
            archive.writestr(entry, files[name])
    return content.getvalue()


def _file(sheet: Sheet) -> bytes:
    lines = ([exact(cell) for cell in line] for line in sheet.lines)
    return as_csv([heading.title for heading in sheet.headings], lines, for_excel=True)


def exact(cell: Cell) -> str | int | Decimal | None:
    """Give a number as the shortest decimal that stands for it, so that no exponent is written."""
    return Decimal(repr(cell)) if isinstance(cell, float) else cell


def readme(document: dict[str, Any], sheets: list[Sheet]) -> str:
    """Say what the archive is, what is in it, and what to mind."""
    said = [
        f"Season report {document['season']}: {document['farm_name']}",
        f"As it was at {moment_of(document['taken_at'])}. {UNIT_WORDS[document['units']]}.",
        f"Made by version {document['made_by']}. Check code {document['check_code']}.",
        "",
        *textwrap.wrap(FORMS, _WIDTH),
        "",
        "Cautions",
        *(line for caution in document["cautions"] for line in _point(caution)),
        "",
        "Files",
    ]
    for sheet in sheets:
        said.append(f"  {sheet.name}.csv: {sheet.title}, {counted(len(sheet.lines), 'line')}")
        said += [line for note in sheet.notes for line in textwrap.wrap(note, _WIDTH, initial_indent="      ",
                                                                        subsequent_indent="      ")]  # fmt: skip
    return "\r\n".join(said) + "\r\n"


def _point(text: str) -> list[str]:
    return textwrap.wrap(text, _WIDTH, initial_indent="- ", subsequent_indent="  ")


FORMS: Final = (
    "Every file is CSV in UTF-8, separated by commas, with a line of headings; units stand in the headings in square "
    "brackets, or in a column of their own. An empty cell is a value that was not measured or not said, and zero is "
    "zero. Numbers are not rounded. A text that a spreadsheet could take for a formula begins with an apostrophe: take "
    "one away and you have the text."
)
