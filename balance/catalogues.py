"""Catalogues that are read from their files and stored nowhere: published rules, each row with its source."""

from __future__ import annotations

import csv
from collections.abc import Callable, Mapping
from dataclasses import fields, is_dataclass
from decimal import Decimal, InvalidOperation
from functools import lru_cache
from pathlib import Path
from types import NoneType, UnionType
from typing import Any, Final, TypeVar, Union, get_args, get_origin, get_type_hints

from django.conf import settings

from balance.formulas.methods import MARKS

Row = TypeVar("Row")


class FaultyCatalogue(ValueError):
    """A file of a catalogue is not what its rows should be; the sentence names file, line and column."""


def read_rows(name: str, row_type: type[Row], folder: Path | None = None) -> tuple[Row, ...]:
    """Give the rows of ``fixtures/catalogue/<name>.csv`` in the order of the file, read once a process.

    ``row_type`` is a frozen dataclass with one field a column, under the same name and of type ``str``, ``int``,
    ``float``, ``Decimal`` or ``bool`` (``yes`` and ``no``); an empty cell is None where the field may be None, and the
    empty text where it is a ``str``.  A column ``source_mark`` holds one of ``balance.formulas.methods.MARKS``.

    Raises
    ------
    FaultyCatalogue
        A column is missing or unknown, a cell is no value of its type, or a row names no source.
    """
    hashable: Any = row_type  # which mypy doubts of the type of a type
    rows: tuple[Row, ...] = _read(folder or settings.FIXTURES_DIR / "catalogue", name, hashable)
    return rows


@lru_cache(maxsize=64)
def _read(folder: Path, name: str, row_type: type[Any]) -> tuple[Any, ...]:
    if not is_dataclass(row_type):
        raise TypeError(f"{row_type.__name__} is no dataclass")
    types = {field.name: get_type_hints(row_type)[field.name] for field in fields(row_type)}
    with (folder / f"{name}.csv").open(encoding="utf-8", newline="") as file:
        lines = csv.DictReader(file)
        if set(lines.fieldnames or ()) != set(types):
            differing = ", ".join(sorted(set(lines.fieldnames or ()) ^ set(types)))
            raise FaultyCatalogue(f"{name}.csv has other columns than {row_type.__name__}: {differing}.")
        return tuple(row_type(**_cells(name, lines.line_num, line, types)) for line in lines)


def _cells(name: str, number: int, line: Mapping[Any, Any], types: Mapping[str, Any]) -> dict[str, Any]:
    if None in line or None in line.values():
        raise FaultyCatalogue(f"{name}.csv, line {number}: more or fewer cells than columns.")
    cells = {column: _cell(name, number, column, line[column], kind) for column, kind in types.items()}
    if "source" in cells and not cells["source"]:
        raise FaultyCatalogue(f"{name}.csv, line {number}: a row without a source.")
    if "source_mark" in cells and cells["source_mark"] not in MARKS:
        raise FaultyCatalogue(f"{name}.csv, line {number}: {cells['source_mark']!r} is none of {', '.join(MARKS)}.")
    return cells


def _yes_or_no(cell: str) -> bool:
    return {"yes": True, "no": False}[cell]


_READERS: Final[Mapping[Any, Callable[[str], Any]]] = {
    str: str,
    int: int,
    float: float,
    Decimal: Decimal,
    bool: _yes_or_no,
}


def _cell(name: str, number: int, column: str, cell: str, kind: Any) -> Any:
    """Read one cell by the type of its field."""
    optional = get_origin(kind) in {Union, UnionType} and NoneType in get_args(kind)
    if optional:
        if not cell:
            return None
        kind = next(each for each in get_args(kind) if each is not NoneType)
    try:
        return _READERS[kind](cell)
    except (ValueError, KeyError, InvalidOperation) as error:
        raise FaultyCatalogue(f"{name}.csv, line {number}, {column}: {cell!r} is no {kind.__name__}.") from error
