"""What is doubtful in a file: each finding names line, column, value and reason."""

from __future__ import annotations

import statistics
from collections import defaultdict
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from decimal import Decimal, InvalidOperation
from typing import Any, Final

from records.imports.column_maps import ColumnMap
from records.imports.reading import Line, Table


@dataclass(frozen=True)
class Finding:
    """One doubt about one value of one line."""

    line: int
    column: str
    value: str
    code: str
    reason: str


def number_of(text: str, *, decimal_comma: bool) -> Decimal | None:
    """Give the number that a cell holds; None where it holds none. ``NA`` and an empty cell are not numbers either."""
    plain = text.replace(",", ".") if decimal_comma else text
    try:
        number = Decimal(plain)
    except InvalidOperation:
        return None
    return number if number.is_finite() and "_" not in plain and plain.isascii() else None


def is_blank(text: str) -> bool:
    """Tell whether a cell says that nothing was measured."""
    return text.strip().lower() in {"", "na", "n/a", "null", "-"}


def checked(table: Table, column_map: ColumnMap) -> dict[int, list[Finding]]:
    """Give the findings of the map's own checks and of ragged lines, by line."""
    found: dict[int, list[Finding]] = defaultdict(list)
    for finding in _findings(table, column_map):
        found[finding.line].append(finding)
    return found


def _findings(table: Table, column_map: ColumnMap) -> Iterator[Finding]:
    for line in table.lines:
        if ragged := _ragged(table, line):
            yield ragged
    for check in column_map.checks:
        yield from _KINDS[check["kind"]](table, check)


def _ragged(table: Table, line: Line) -> Finding | None:
    """Name a line with cells too many or too few; empty cells at its end say nothing."""
    if any(line.extra):
        reason = (
            "the line has more cells than there are headings, so a value may stand in the wrong column; it is kept as "
            "sent but not stored. Write decimals with a point, and put a text that holds the separator in quotes"
        )
    elif line.missing:
        reason = "the line ends before its headings do; what is missing is taken as empty"
    else:
        return None
    return Finding(line.number, table.headings[-1], table.separator.join(line.extra), "ragged_line", reason)


def _number(table: Table, line: Line, column: str) -> Decimal | None:
    return number_of(line.values.get(column, ""), decimal_comma=table.decimal_comma)


def _sum(table: Table, check: Mapping[str, Any]) -> Iterator[Finding]:
    for line in table.lines:
        total = _number(table, line, check["total"])
        parts = [_number(table, line, column) for column in check["parts"]]
        known = [part for part in parts if part is not None]
        if total is None or len(known) < len(parts) or sum(known) == total:
            continue
        added = " + ".join(f"{column} {part:f}" for column, part in zip(check["parts"], known, strict=True))
        reason = f"{added} is {sum(known):f}, not {total:f}"
        yield Finding(line.number, check["total"], line.values[check["total"]], "sum_does_not_add_up", reason)


def _not_less(table: Table, check: Mapping[str, Any]) -> Iterator[Finding]:
    for line in table.lines:
        value, than = _number(table, line, check["column"]), _number(table, line, check["than"])
        if value is not None and than is not None and value < than:
            reason = f"it is less than {check['than']}, which is {than:f}"
            yield Finding(line.number, check["column"], line.values[check["column"]], "less_than_before", reason)


def _share_of_median(table: Table, check: Mapping[str, Any]) -> Iterator[Finding]:
    column, least = check["column"], Decimal(str(check["least"]))
    values = {line.number: _number(table, line, column) for line in table.lines}
    known = [value for value in values.values() if value is not None]
    if not known:
        return
    median = statistics.median(known)
    for line in table.lines:
        value = values[line.number]
        if value is not None and value < least * median:
            reason = f"it is less than {least:f} of the file's median, which is {median:f}"
            yield Finding(line.number, column, line.values[column], "far_below_the_median", reason)


def _range(table: Table, check: Mapping[str, Any]) -> Iterator[Finding]:
    low, high = Decimal(str(check["low"])), Decimal(str(check["high"]))
    for line in table.lines:
        value = _number(table, line, check["column"])
        if value is not None and not low <= value <= high:
            reason = f"it lies outside {low:f} to {high:f}"
            yield Finding(line.number, check["column"], line.values[check["column"]], "out_of_range", reason)


_KINDS: Final[dict[str, Callable[[Table, Mapping[str, Any]], Iterator[Finding]]]] = {
    "sum": _sum,
    "not_less": _not_less,
    "share_of_median": _share_of_median,
    "range": _range,
}
