"""From the bytes of an XLSX file to its cells as text; values only, nothing in it is carried out.

An XLSX is a ZIP of XML, so a small file can ask for any amount of memory: by inflating without end, or by one cell at
the far corner of an otherwise empty sheet.  Both are looked for before the reader sees the file, and the reader gets
it uncompressed, so that it inflates nothing itself.
"""

from __future__ import annotations

import io
import re
import struct
import zipfile
import zlib
from collections.abc import Iterator
from datetime import date, datetime, time, timedelta
from decimal import Decimal
from typing import Any, Final, NoReturn

from python_calamine import CalamineError, CalamineWorkbook, SheetTypeEnum, SheetVisibleEnum, WorksheetNotFound

from records.errors import NotValid

SIGNATURE: Final = b"PK\x03\x04"
#: The binary format before XLSX begins like this (Compound File Binary, MS-CFB 2.2).
OLD_SIGNATURE: Final = bytes.fromhex("d0cf11e0a1b11ae1")
MOST_ENTRIES: Final = 500
MOST_BYTES: Final = 64_000_000
MOST_ROWS: Final = 50_000
MOST_CELLS: Final = 1_000_000
#: Deflate cannot do better than 1032; a sheet of figures comes to 10 or so.
STEEPEST: Final = 200
_STEEP_FROM: Final = 1_000_000
#: Where a row or a cell says that it stands, whatever element says it.
_PLACE: Final = re.compile(rb"\br\s*=\s*[\"']([A-Za-z]{0,9})([0-9]{1,18})[\"']")

#: What the two readers raise on a file that is broken, by accident or on purpose.
_UNREADABLE: Final = (
    CalamineError, WorksheetNotFound, zipfile.BadZipFile, zlib.error, struct.error, EOFError, OSError, RuntimeError,
    ValueError, OverflowError,
)  # fmt: skip
_PACKED_BY: Final = {zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED}

Cells = list[str]


def is_spreadsheet(content: bytes) -> bool:
    """Tell whether a file is a spreadsheet's own, of the present format or the one before."""
    return content.startswith((SIGNATURE, OLD_SIGNATURE))


def read_sheet(content: bytes, name: str = "") -> Iterator[Cells]:
    """Give the rows of a sheet, from its first: the named one, or the first that is not hidden.

    Raises
    ------
    NotValid
        The file is no XLSX, asks for too much, or has no such sheet.
    """
    if content.startswith(OLD_SIGNATURE):
        _refuse("the file is of the format before XLSX, or is locked with a password; save it as plain .xlsx")
    try:
        workbook = CalamineWorkbook.from_filelike(io.BytesIO(_uncompressed(content)))
        sheet = workbook.get_sheet_by_name(_chosen(workbook, name))
        rows = sheet.to_python(skip_empty_area=False)
    except _UNREADABLE as error:
        _refuse(f"the file cannot be read as XLSX ({str(error)[:200]}); open it and save it again, or as CSV", error)
    return ([_text(cell) for cell in row] for row in rows)


def _chosen(workbook: CalamineWorkbook, name: str) -> str:
    sheets = [sheet for sheet in workbook.sheets_metadata if sheet.typ == SheetTypeEnum.WorkSheet]
    names = [sheet.name for sheet in sheets]
    if name and name not in names:
        listed = ", ".join(repr(each) for each in names[:20])
        raise NotValid.at("sheet", code="no_such_sheet", detail=f"The file has no sheet {name!r}; it has {listed}.")
    if name:
        return name
    shown = [sheet.name for sheet in sheets if sheet.visible == SheetVisibleEnum.Visible]
    return shown[0] if shown else _refuse("the file has no sheet that is shown")


def _uncompressed(content: bytes) -> bytes:
    """Give the same file with its entries stored, or refuse what would come to too much."""
    stored = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(content)) as archive, zipfile.ZipFile(stored, "w") as copy:
        entries = archive.infolist()
        _check_entries(entries)
        for entry in entries:
            if entry.is_dir():
                continue
            with archive.open(entry) as opened:
                inflated = opened.read(entry.file_size)  # no more is inflated than the entry says, which was checked
            _check_reach(entry.filename, inflated)
            copy.writestr(entry.filename, inflated)
    return stored.getvalue()


def _check_entries(entries: list[zipfile.ZipInfo]) -> None:
    names = {entry.filename for entry in entries}
    if "xl/workbook.xml" not in names:
        _refuse("the file is a ZIP but no XLSX; send the .xlsx itself, or a CSV file")
    if len(entries) > MOST_ENTRIES or len(names) < len(entries):
        _refuse(f"the file has more than {MOST_ENTRIES} parts, or one of them twice; save the sheet alone")
    if sum(entry.file_size for entry in entries) > MOST_BYTES:
        _refuse(f"the file inflates to more than {MOST_BYTES:,} bytes; save the sheet alone, or as CSV")
    for entry in entries:
        if entry.flag_bits & 1 or entry.compress_type not in _PACKED_BY:
            _refuse("the file is locked with a password, or packed unlike any XLSX; save it as plain .xlsx")
        if entry.file_size > max(_STEEP_FROM, STEEPEST * entry.compress_size):
            _refuse(f"the part {entry.filename[:80]!r} is packed more than {STEEPEST} to 1; save the sheet as CSV")


def _check_reach(name: str, xml: bytes) -> None:
    """Refuse a sheet whose cells reach far: the reader makes room for every cell up to the last."""
    if b"sheetData" not in xml:
        return
    if b"\x00" in xml:
        _refuse(f"the part {name[:80]!r} is not UTF-8")
    width = height = 0
    for place in _PLACE.finditer(xml):
        width, height = max(width, _number_of(place[1])), max(height, int(place[2]))
    if height > MOST_ROWS or width * height > MOST_CELLS:
        _refuse(
            f"the sheet reaches to row {height:,} and column {width:,}, which is more than {MOST_ROWS:,} rows or "
            f"{MOST_CELLS:,} cells; delete the empty rows and columns after the last, or save the sheet as CSV"
        )


def _number_of(column: bytes) -> int:
    """Give the number of a column from its letters: A is 1, AA is 27."""
    number = 0
    for letter in column.upper():
        number = 26 * number + letter - 64
    return number


def _text(cell: Any) -> str:
    """Give what a cell holds as a person would type it: a number with the 15 digits that it has, a date by ISO 8601."""
    if isinstance(cell, bool):
        return "true" if cell else "false"
    if isinstance(cell, int | float):
        return _plain(cell)
    if isinstance(cell, datetime) and cell.time() == time.min:
        return cell.date().isoformat()
    if isinstance(cell, datetime | date | time):
        return cell.isoformat()
    return str(cell.total_seconds()) if isinstance(cell, timedelta) else str(cell)


def _plain(number: float) -> str:
    """Write a binary number as the decimal that was typed: a spreadsheet keeps 15 digits (IEEE 754 double)."""
    written = Decimal(f"{number:.15g}")
    text = f"{written:f}"
    return text.rstrip("0").rstrip(".") if "." in text else text


def _refuse(sentence: str, cause: Exception | None = None) -> NoReturn:
    refusal = NotValid.at("file", code="unreadable_file", detail=f"{sentence[0].upper()}{sentence[1:]}.")
    raise refusal from cause
