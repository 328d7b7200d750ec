"""Spreadsheets for the tests: written by XlsxWriter, or put together part by part to be hostile."""

from __future__ import annotations

import io
import zipfile
from collections.abc import Mapping, Sequence
from typing import Any

import xlsxwriter

XLSX = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"


def workbook(sheets: Mapping[str, Sequence[Sequence[Any]]], hidden: Sequence[str] = ()) -> bytes:
    """Give an XLSX with these sheets, cell by cell; text is text, also where it looks like something else."""
    content = io.BytesIO()
    book = xlsxwriter.Workbook(
        content, {"in_memory": True, "strings_to_formulas": False, "default_date_format": "yyyy-mm-dd"}
    )
    for name, rows in sheets.items():
        sheet = book.add_worksheet(name)
        for number, row in enumerate(rows):
            sheet.write_row(number, 0, row)
        if name in hidden:
            sheet.hide()
    shown = next(name for name in sheets if name not in hidden)
    book.get_worksheet_by_name(shown).activate()
    book.get_worksheet_by_name(shown).set_first_sheet()
    book.close()
    return content.getvalue()


def rewritten(content: bytes, parts: Mapping[str, bytes], packed: int = zipfile.ZIP_DEFLATED) -> bytes:
    """Give the same file with some parts replaced or added."""
    target = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(content)) as source, zipfile.ZipFile(target, "w", packed) as archive:
        for name in source.namelist():
            if name not in parts:
                archive.writestr(name, source.read(name))
        for name, part in parts.items():
            archive.writestr(name, part)
    return target.getvalue()
