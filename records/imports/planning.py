"""From lines to what is to be stored: a place, and a weight where there is a good one."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from decimal import Decimal
from typing import Final

from records.imports.checking import Finding, checked, is_blank, number_of
from records.imports.column_maps import ColumnMap
from records.imports.reading import Line, Table
from records.units import Quantity, UnitError, canonical_code, to_canonical

HEAVIEST_KG: Final = 50
LONGEST_LABEL: Final = 60
LONGEST_ROOTSTOCK: Final = 80


@dataclass(frozen=True)
class PlannedVine:
    """What one line says: where the vine stands, what was measured, and what is doubtful.

    ``row_number`` and ``place`` are None where the line does not say which vine it is; then nothing of it can be
    stored but the line itself.  ``place_counted``: the place is the line's order in its row, not said by the file.
    """

    line: Line
    headings: Mapping[str, str]
    row_number: int | None = None
    place: int | None = None
    place_counted: bool = False
    label: str = ""
    rootstock: str = ""
    weight: Quantity | None = None
    nodes_retained: int | None = None
    findings: list[Finding] = field(default_factory=list)

    def finding(self, meaning: str, code: str, reason: str) -> Finding:
        """Name a doubt about the cell of a meaning; the row's cell stands for a place that was counted."""
        heading = self.headings.get(meaning) or self.headings["row"]
        return Finding(self.line.number, heading, self.line.values.get(heading, ""), code, reason)

    def refused(self, finding: Finding) -> PlannedVine:
        """Give the line as one of which nothing but itself is kept."""
        return PlannedVine(self.line, self.headings, findings=[*self.findings, finding])


def plan(table: Table, column_map: ColumnMap) -> Iterator[PlannedVine]:
    """Give what each line asks to store, with every finding."""
    doubts = checked(table, column_map)
    order: Counter[int] = Counter()
    seen: dict[tuple[int, int], int] = {}
    labels: dict[str, int] = {}
    for line in table.lines:
        reader = _Cells(line, table, column_map, list(doubts.get(line.number, ())))
        planned = _planned(reader, order)
        yield _without_twins(planned, seen, labels)


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

    def short(self, meaning: str, longest: int) -> str:
        """Give a text that fits its column; a longer one would stand for another when cut."""
        text = self.text(meaning)
        if len(text) <= longest:
            return text
        self.doubt(meaning, "too_long", f"at most {longest} characters are kept here; the vine is stored without it")
        return ""

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
    headings = cells.column_map.headings
    row_number = cells.whole("row", 1, 9999)
    if row_number is not None:
        order[row_number] += 1
    if any(cells.line.extra):  # a value may have slid into the next column, the weight's included: see the finding
        return PlannedVine(cells.line, headings, findings=cells.findings)
    named = "place" in headings
    place = cells.whole("place", 1, 9999) if named else order[row_number] if row_number is not None else None
    counted = "nodes_retained" in headings and not is_blank(cells.text("nodes_retained"))
    return PlannedVine(
        line=cells.line,
        headings=headings,
        row_number=row_number,
        place=place,
        place_counted=not named,
        label=cells.short("label", LONGEST_LABEL),
        rootstock=cells.short("rootstock", LONGEST_ROOTSTOCK),
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


def _without_twins(planned: PlannedVine, seen: dict[tuple[int, int], int], labels: dict[str, int]) -> PlannedVine:
    """Keep the first of two lines about one vine, and say of the second which line it repeats."""
    if planned.row_number is None or planned.place is None:
        return planned
    place = (planned.row_number, planned.place)
    if place in seen:
        reason = f"line {seen[place]} is about the same vine; this line is kept as sent but not stored"
        return planned.refused(planned.finding("place", "vine_twice", reason))
    if planned.label in labels:
        reason = (
            f"line {labels[planned.label]} bears the same label, which names one vine of the block; this line is kept "
            "as sent but not stored. Where labels begin anew in each row, let the map call the column place"
        )
        return planned.refused(planned.finding("label", "vine_twice", reason))
    seen[place] = planned.line.number
    if planned.label:
        labels[planned.label] = planned.line.number
    return planned
