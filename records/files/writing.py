"""Write lines as CSV or XLSX: the template of a kind, and its records taken out."""

from __future__ import annotations

import io
from collections.abc import Iterable, Sequence
from decimal import Decimal
from typing import Any, Final

import xlsxwriter

from records.exporting.cells import line_of

#: A cell: text, a number that is to stay one, or nothing.
Cell = str | int | Decimal | None
#: What a spreadsheet's double keeps exactly (IEEE 754); a number with more digits is written as text.
_MOST_DIGITS: Final = 15


def as_csv(headings: Sequence[str], lines: Iterable[Sequence[Cell]], *, for_excel: bool = False) -> bytes:
    """Give lines as CSV by RFC 4180, in UTF-8; without a byte order mark Excel takes it for another encoding."""
    written = [line_of((heading, False) for heading in headings), *(line_of(map(_as_text, line)) for line in lines)]
    return "".join(written).encode("utf-8-sig" if for_excel else "utf-8")


def _as_text(cell: Cell) -> tuple[str | None, bool]:
    if isinstance(cell, Decimal):
        return f"{cell:f}", True
    return (str(cell), True) if isinstance(cell, int) else (cell, False)


def as_xlsx(
    title: str, headings: Sequence[str], lines: Iterable[Sequence[Cell]], more: Sequence[Sequence[str]] = (),
    words: Sequence[tuple[int, Sequence[str]]] = (),
) -> bytes:  # fmt: skip
    """Give lines as a spreadsheet, row by row, so that no memory grows with the cells.

    ``more`` becomes a second sheet, of explanations; ``words`` are the lists that columns offer.  Text is written as
    text, whatever it begins with: nothing in the file is a formula or a link.
    """
    content = io.BytesIO()
    options = {"constant_memory": True, "strings_to_formulas": False, "strings_to_urls": False}
    with xlsxwriter.Workbook(content, options) as book:
        bold = book.add_format({"bold": True})
        sheet = book.add_worksheet(title[:31])
        sheet.freeze_panes(1, 0)
        for column, choices in words:
            sheet.data_validation(1, column, 20_000, column, {"validate": "list", "source": list(choices),
                                                              "error_type": "warning"})  # fmt: skip
        for at, heading in enumerate(headings):
            sheet.write_string(0, at, heading, bold)
        for number, line in enumerate(lines, start=1):
            _write(sheet, number, line)
        if more:
            explained = book.add_worksheet("Columns")
            for number, row in enumerate(more):
                for at, text in enumerate(row):
                    explained.write_string(number, at, text, bold if number == 0 else None)
    return content.getvalue()


def _write(sheet: Any, number: int, line: Sequence[Cell]) -> None:
    for at, cell in enumerate(line):
        if isinstance(cell, str):
            sheet.write_string(number, at, cell)
        elif cell is not None:
            _write_number(sheet, number, at, cell)


def _write_number(sheet: Any, number: int, at: int, value: int | Decimal) -> None:
    exact = Decimal(value).normalize()
    if len(exact.as_tuple().digits) > _MOST_DIGITS:
        sheet.write_string(number, at, f"{exact:f}")
    else:
        sheet.write_number(number, at, float(exact))
