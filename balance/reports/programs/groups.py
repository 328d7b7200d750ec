"""Sections that tell a measure of all growers together, and by region, cultivar and training."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Final

from balance.reports.document import Cell, Column, Figure, Section, Table
from balance.reports.figures import MEAN_NODES, RATIO, figure
from balance.reports.programs import sums
from balance.reports.programs.document import Released, ReleasedCell
from balance.reports.programs.labels import ALL, CULTIVAR, REGION, TRAINING
from balance.reports.programs.privacy import NOT_SHOWN, NOTHING, WITHHELD, farms_said, fewest
from balance.reports.programs.releasing import REST, SQUARES
from balance.reports.quantities import Measure, Units

_DIMENSIONS: Final = (
    (REGION, "region", "Region"),
    (CULTIVAR, "cultivar", "Cultivar"),
    (TRAINING, "training", "Training"),
)
_SHARE: Final = Measure("%", 0.01, 1)  # of a share between 0 and 1


@dataclass(frozen=True)
class Told:
    """One measure of a section; ``spread`` where the standard deviation of single things is told, too."""

    name: str
    title: str
    short: str
    measure: Callable[[Units], Measure]
    spread: bool = False


@dataclass(frozen=True)
class Grouped:
    """One section: its measures, and what there is to say of them."""

    code: str
    title: str
    measures: tuple[Told, ...]
    sentences: Callable[[int], tuple[str, ...]]


VINE_SIZE: Final = Grouped(
    "vine_size",
    "Vine size",
    (Told(sums.PRUNING_WEIGHT, "Mean pruning weight of a vine", "Mean", lambda units: units.vine_weight, spread=True),),
    lambda season: (
        f"Prunings of the winter before the harvest of {season}: every vine that was weighed counts once. The standard "
        "deviation is that of single vines, within and between growers.",
    ),
)
TARGETS: Final = Grouped(
    "targets",
    "Targets and counts",
    (
        Told(sums.TARGET, "Mean target", "Target", lambda _: MEAN_NODES),
        Told(sums.KEPT, "Mean count that was left", "Left", lambda _: MEAN_NODES),
        Told(sums.ON_TARGET, "Vines on target, within what the scale can tell", "On target", lambda _: _SHARE),
    ),
    lambda _: (
        "Targets by the formula that each farm chose; growers differ in their formulas. A count is held against the "
        "target of its own vine.",
    ),
)
CROP_LOADS: Final = Grouped(
    "crop_load",
    "Crop load",
    (Told(sums.CROP_LOAD, "Crop load", "Crop load", lambda _: RATIO),),
    lambda season: (
        f"Yield of the harvest of {season - 1} over the prunings of the winter after it, the one before the harvest of "
        f"{season}. The harvest of {season} stands in the report of {season + 1}, when its prunings are weighed.",
        "Sums of the blocks' yields over sums of their prunings, so a block counts by its prunings. There is no "
        "verdict: ranges belong to a cultivar, a use and a place.",
    ),
)
STRUCTURE: Final = Grouped(
    "structure",
    "Blank cordon",
    (Told(sums.BLANK, "Spur positions without life", "Blank", lambda _: _SHARE),),
    lambda season: (
        f"Spur positions of the cordons inspected in {season} that said both what lives and what is blank. No source "
        "prints a share at which to act, so there is no verdict.",
    ),
)


def grouped(of: Grouped) -> Callable[[Released, Units, int], Section]:
    """Give what composes the section."""

    def section(released: Released, units: Units, season: int) -> Section:
        if not released.shows_anything:
            return Section(of.code, of.title, reason=NOTHING)
        found = {(cell.measure, cell.dimension, cell.label): cell for cell in released.cells}
        return Section(
            of.code,
            of.title,
            sentences=of.sentences(season),
            figures=tuple(_figure(each, units, found) for each in of.measures),
            tables=tuple(_tables(of, units, found)),
        )

    return section


Found = dict[tuple[str, str, str], ReleasedCell]


def _figure(told: Told, units: Units, found: Found) -> Figure:
    cell = found.get((told.name, ALL, ""))
    value = cell.value if cell else None
    return figure(f"{told.name}_of_all", told.title, told.measure(units), value, reason=WITHHELD)


def _tables(of: Grouped, units: Units, found: Found) -> Iterator[Table]:
    for dimension, by, heading in _DIMENSIONS:
        labels = list(dict.fromkeys(
            label for each in of.measures for (name, at, label), cell in found.items()
            if name == each.name and at == dimension and cell.shown and label != REST
        ))  # fmt: skip
        columns = (Column("group", heading), *_columns(of, units))
        rows = tuple(_row(of, units, found, dimension, label) for label in (*sorted(labels), REST))
        yield Table(f"{of.code}_by_{dimension}", f"{of.title} by {by}", columns, rows)


def _columns(of: Grouped, units: Units) -> Iterator[Column]:
    yield Column("growers", "Growers")
    for each in of.measures:
        measure = each.measure(units)
        yield Column(each.name, each.short, measure.unit, number=True, digits=measure.digits)
        if each.spread:
            yield Column(f"spread_{each.name}", "Standard deviation", measure.unit, number=True, digits=measure.digits)


def _row(of: Grouped, units: Units, found: Found, dimension: str, label: str) -> tuple[Cell, ...]:
    """Give one group; where measures rest on different numbers of growers, the fewest are told."""
    cells = [found.get((each.name, dimension, label)) for each in of.measures]
    row: list[Cell] = [label, farms_said(fewest(cell.farms for cell in cells if cell and cell.shown))]
    for each, cell in zip(of.measures, cells, strict=True):
        measure = each.measure(units)
        row.append(_shown(measure, cell.value if cell else None))
        if each.spread:
            row.append(_shown(measure, _spread(cell, found.get((SQUARES + each.name, dimension, label)))))
    return tuple(row)


def _shown(measure: Measure, value: float | None) -> Cell:
    return NOT_SHOWN if value is None else measure.of(value)


def _spread(mean: ReleasedCell | None, squares: ReleasedCell | None) -> float | None:
    """Give the standard deviation out of two rounded means, to as few digits as they carry."""
    if mean is None or squares is None or mean.value is None or squares.value is None:
        return None
    return float(f"{math.sqrt(max(0.0, squares.value - mean.value**2)):.2g}")
