"""The report of a program as tables: its figures, its sentences and each table whole."""

from __future__ import annotations

from typing import Any

from balance.reports.forms.as_csv import archive_of
from balance.reports.forms.as_xlsx import workbook_of
from balance.reports.forms.tables import SUMMARY, Sheet, sheets_of
from balance.reports.programs.forms.as_one_page import as_one_page

Plain = dict[str, Any]


def csv_of(document: Plain) -> bytes:
    """Write the archive."""
    return archive_of(as_one_page(document), sheets_of_program(document))


def xlsx_of(document: Plain) -> bytes:
    """Write the workbook."""
    return workbook_of(as_one_page(document), sheets_of_program(document))


def sheets_of_program(document: Plain) -> list[Sheet]:
    """Give everything as tables, none of them by block."""
    return [_without_blocks(sheet) for sheet in sheets_of(as_one_page(document)) if sheet.name != SUMMARY]


def _without_blocks(sheet: Sheet) -> Sheet:
    if sheet.headings[0].title != "Block":
        return sheet
    return Sheet(sheet.name, sheet.title, sheet.headings[1:], [line[1:] for line in sheet.lines], sheet.notes)
