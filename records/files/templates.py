"""The template of a kind: its headings, the unit of each column, and one line as an example that is not taken in."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Final

from records.files.columns import EXAMPLE_ROW, NONE, UNITS_ROW, Column, columns_of
from records.files.writing import Cell, as_csv, as_xlsx
from records.kinds import Kind
from records.kinds.members import Measured, Stage

#: A spreadsheet offers lists of at most 255 characters.
_LONGEST_LIST: Final = 255


def template_lines(kind: Kind, example: Mapping[str, Any]) -> list[list[Cell]]:
    """Give the line of units and the example; ``example`` is a record as its endpoint takes it."""
    columns = columns_of(kind)
    units: list[Cell] = [UNITS_ROW, *(column.unit or None for column in columns[1:])]
    shown: list[Cell] = [f"{EXAMPLE_ROW}: name of the block", *(_example(column, example) for column in columns[1:])]
    return [units, shown]


def template_csv(kind: Kind, example: Mapping[str, Any]) -> bytes:
    """Give the template as CSV, with the mark by which Excel knows UTF-8."""
    return as_csv([column.heading for column in columns_of(kind)], template_lines(kind, example), for_excel=True)


def template_xlsx(kind: Kind, example: Mapping[str, Any]) -> bytes:
    """Give the template as a spreadsheet: lists to choose from, and a second sheet that explains each column."""
    columns = columns_of(kind)
    explained = [("column", "unit", "meaning", "words")]
    explained += [(column.heading, column.unit, column.says, ", ".join(column.words)) for column in columns]
    words = [(at, column.words) for at, column in enumerate(columns) if _offered(column)]
    headings = [column.heading for column in columns]
    return as_xlsx(kind.plural.replace("_", " "), headings, template_lines(kind, example), explained, words)


def _offered(column: Column) -> bool:
    return bool(column.words) and len(",".join(column.words)) <= _LONGEST_LIST


def _example(column: Column, example: Mapping[str, Any]) -> Cell:
    if column.heading in {"row", "vine"}:
        return 1 if example.get("vine") else None
    if column.heading in {"id", "version"}:
        return None
    member = column.member
    value = example.get(member.name if member else column.heading)
    if value is None:
        return None
    if isinstance(member, Measured):
        return str(value["unit" if column.heading.endswith("_unit") else "value"])
    if isinstance(member, Stage):
        return str(value["scale" if column.heading.endswith("_scale") else "code"])
    return _written(value)


def _written(value: Any) -> str:
    if isinstance(value, bool):
        return "yes" if value else "no"
    return "; ".join(value) or NONE if isinstance(value, list) else str(value)
