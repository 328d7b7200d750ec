"""From lines to what is to be stored: a place, and a weight where there is a good one."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass, field
from decimal import Decimal
from typing import Final

from records.imports.checking import Finding, checked, is_blank, number_of
from records.imports.column_maps import ColumnMap
from records.imports.reading import Line, Table
from records.units import Quantity, UnitError, canonical_code, to_canonical

HEAVIEST_KG: Final = 50


@dataclass(frozen=True)
class PlannedVine:
    """What one line says: where the vine stands, what was measured, and what is doubtful.

    ``row_number`` and ``place`` are None where the line does not say which vine it is; then nothing of it can be
    stored but the line itself.
    """

    line: Line
    row_number: int | None
    place: int | None
    label: str
    rootstock: str
    weight: Quantity | None
    nodes_retained: int | None
    findings: list[Finding] = field(default_factory=list)


def plan(table: Table, column_map: ColumnMap) -> Iterator[PlannedVine]:
    """Give what each line asks to store, with every finding."""
    doubts = checked(table, column_map)
    order: Counter[int] = Counter()
    seen: dict[tuple[int, int], int] = {}
    labels: dict[str, int] = {}
    for line in table.lines:
        reader = _Cells(line, table, column_map, list(doubts.get(line.number, ())))
        planned = _planned(reader, order)
        yield _without_twins(planned, column_map, seen, labels)


@dataclass(frozen=True)
class _Cells:
    """The cells of one line by their meaning; what cannot be read becomes a finding."""

    line: Line
    table: Table
    column_map: ColumnMap
    findings: list[Finding]

    def text(self, meaning: str) -> str:
        heading = self.column_map.headings.get(meaning)
        return self.line.values.get(heading, "") if heading else ""

    def doubt(self, meaning: str, code: str, reason: str) -> None:
        heading = self.column_map.headings[meaning]
        self.findings.append(Finding(self.line.number, heading, self.text(meaning), code, reason))

    def whole(self, meaning: str, low: int, high: int) -> int | None:
        """Give a whole number between two bounds, or a finding and nothing."""
        text = self.text(meaning)
        number = number_of(text, decimal_comma=self.table.decimal_comma)
        if number is None or number != number.to_integral_value() or not low <= number <= high:
            self.doubt(meaning, "not_a_whole_number", f"a whole number from {low} to {high} is needed here")
            return None
        return int(number)


def _planned(cells: _Cells, order: Counter[int]) -> PlannedVine:
    row_number = cells.whole("row", 1, 9999)
    if row_number is not None:
        order[row_number] += 1
    named = "place" in cells.column_map.headings
    place = cells.whole("place", 1, 9999) if named else order[row_number] if row_number is not None else None
    counted = "nodes_retained" in cells.column_map.headings and not is_blank(cells.text("nodes_retained"))
    return PlannedVine(
        line=cells.line,
        row_number=row_number,
        place=place,
        label=cells.text("label")[:60],
        rootstock=cells.text("rootstock")[:80],
        weight=_weight(cells),
        nodes_retained=cells.whole("nodes_retained", 0, 2000) if counted else None,
        findings=cells.findings,
    )


def _weight(cells: _Cells) -> Quantity | None:
    if "pruning_weight" not in cells.column_map.headings:
        return None
    text, unit = cells.text("pruning_weight"), canonical_code(cells.column_map.pruning_weight_unit)
    if is_blank(text):
        cells.doubt("pruning_weight", "not_weighed", "there is no weight; the vine is stored as not weighed")
        return None
    number = number_of(text, decimal_comma=cells.table.decimal_comma)
    if number is None:
        cells.doubt("pruning_weight", "not_a_number", f"a number in {unit} is needed, with a decimal point and no unit")
        return None
    return _plausible(cells, Quantity(number, unit))


def _plausible(cells: _Cells, weight: Quantity) -> Quantity | None:
    try:
        kg = to_canonical(weight, "mass")
    except UnitError as error:
        cells.doubt("pruning_weight", error.code, str(error))
        return None
    if not 0 <= kg <= HEAVIEST_KG:
        reason = f"the prunings of one vine weigh between 0 and {HEAVIEST_KG} kg; check the number and the unit"
        cells.doubt("pruning_weight", "out_of_range", reason)
        return None
    return Quantity(Decimal(weight.value), weight.unit)


def _without_twins(
    planned: PlannedVine, column_map: ColumnMap, seen: dict[tuple[int, int], int], labels: dict[str, int]
) -> PlannedVine:
    """Keep the first of two lines about one vine, and say of the second which line it repeats."""
    if planned.row_number is None or planned.place is None:
        return planned
    place = (planned.row_number, planned.place)
    first = seen.get(place) or (labels.get(planned.label) if planned.label else None)
    if first is None:
        seen[place] = planned.line.number
        if planned.label:
            labels[planned.label] = planned.line.number
        return planned
    heading = column_map.headings.get("place") or column_map.headings.get("label") or column_map.headings["row"]
    reason = f"line {first} is about the same vine; this line is kept as sent but not stored"
    finding = Finding(planned.line.number, heading, planned.line.values.get(heading, ""), "vine_twice", reason)
    return PlannedVine(planned.line, None, None, "", "", None, None, [*planned.findings, finding])
