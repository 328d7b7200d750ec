"""Yield and quality: what was picked, how ripe it was, and how estimates by counting clusters came out."""

from __future__ import annotations

from collections.abc import Iterator
from functools import partial
from typing import Any, Final

from balance.crops.block_crops import NOT_RECORDED, NOT_WEIGHED, Crop, soluble_solids_of
from balance.formulas.counting import counted
from balance.formulas.crops.crop_load import ripeness_flag
from balance.formulas.yields.propagation import interval_of
from balance.reports.document import Cell, Column, Figure, Section, Table
from balance.reports.facts import CONFIDENCE, Facts
from balance.reports.figures import ACIDITY, BRIX, PERCENT, PH, Ends, against, figure
from balance.reports.quantities import Measure
from balance.yields.block_yields import BlockYield, yield_question
from balance.yields.cluster_weight_ways import WayToYield, yields_of
from balance.yields.pickings import Pickings
from records.models import Measure as Judged

CODE: Final = "yields"
TITLE: Final = "Yield and quality"
NOTHING: Final = "No harvest of this season and no count of clusters is on record."
_NO_SAMPLE: Final = "No sample of vines was picked and weighed, or not in every picking."
_NO_AREA: Final = "The block's area is not known: set its area, its boundary, or its row and vine spacing."
_NO_COUNT: Final = "No clusters were counted in this season."
_NO_CLUSTER_WEIGHT: Final = "No cluster was weighed at harvest."
_NO_SOLIDS: Final = "Soluble solids were not measured."
_INTERVAL: Final = f"{CONFIDENCE:g} % interval"
_CLUSTERS: Final = Measure("clusters", 1, 1)
_SCOPES: Final = {"block": "whole block", "sample": "sample of vines"}


def section(facts: Facts) -> Section:
    """Compose the section of one block."""
    picked = facts.picked
    found = yield_question(facts.opened, facts.block, facts.season) if facts.places.count else None
    counts = found is not None and found.question.clusters is not None
    if not (picked.count or picked.of_vines or counts):
        return Section(CODE, TITLE, reason=NOTHING)
    solids = _solids(facts)
    return Section(
        CODE,
        TITLE,
        sentences=tuple(_sentences(facts, picked, solids)),
        figures=(*_yields(facts, found), *_clusters(facts, found), solids),
        tables=tuple(_tables(facts, picked, found)),
    )


def _yields(facts: Facts, found: BlockYield | None) -> Iterator[Figure]:
    units, crop = facts.reading.units, facts.crop
    standing = facts.places.count - facts.places.missing
    why = _why_no_yield(crop)
    each = None if crop.block_kg is None or not standing else crop.block_kg / standing
    area = found.question.area_m2 if found else None
    by_area = None if crop.block_kg is None or not area else crop.block_kg / area
    yield figure("yield_of_block", "Yield of the block", units.block_yield, crop.block_kg, reason=why)
    yield figure("yield_per_vine", "Yield of a standing vine", units.vine_weight, each, n=standing, reason=why)
    yield figure("yield_per_area", "Yield by area", units.yield_per_area, by_area, reason=why or _NO_AREA)
    yield figure(
        "yield_of_a_sampled_vine", "Yield of a sampled vine", units.vine_weight, crop.sample_kg,
        n=crop.sample_vines or None, reason=_NO_SAMPLE,
    )  # fmt: skip


def _why_no_yield(crop: Crop) -> str:
    if crop.block_kg is not None:
        return ""
    return NOT_WEIGHED if crop.block_recorded else NOT_RECORDED


def _clusters(facts: Facts, found: BlockYield | None) -> Iterator[Figure]:
    question = found.question if found else None
    shown = (
        ("clusters_per_vine", "Clusters of a vine, counted before harvest", _CLUSTERS,
         question.clusters if question else None, _NO_COUNT),
        ("cluster_weight", "Weight of a cluster at harvest", facts.reading.units.cane_weight,
         question.this_season if question else None, _NO_CLUSTER_WEIGHT),
    )  # fmt: skip
    for code, title, measure, told, reason in shown:
        between = interval_of(told, CONFIDENCE) if told else None
        ends = Ends(between.low, between.high, _INTERVAL) if between else None
        yield figure(
            code, title, measure, told.value if told else None, n=told.n if told else None, ends=ends, reason=reason
        )


def _solids(facts: Facts) -> Figure:
    brix = soluble_solids_of(facts.opened, facts.block, facts.season)
    assigned = facts.range_of(Judged.SOLUBLE_SOLIDS)
    told = figure("soluble_solids", "Soluble solids at harvest", BRIX, brix, reason=_NO_SOLIDS)
    return against(told, BRIX, brix, assigned)


def _tables(facts: Facts, picked: Pickings, found: BlockYield | None) -> Iterator[Table]:
    if picked.count:
        yield _pickings_table(facts, picked)
    if found is not None and found.question.clusters is not None:
        yield _estimates_table(facts, found)


def _pickings_table(facts: Facts, picked: Pickings) -> Table:
    units = facts.reading.units
    number = partial(Column, number=True)
    mass = partial(number, unit=units.block_yield.unit, digits=units.block_yield.digits)
    light = partial(number, unit=units.cane_weight.unit, digits=units.cane_weight.digits)
    columns = (
        Column("scope", "Picked"),
        number("picking", "Picking"),
        number("vines", "Vines"),
        mass("yield", "Yield"),
        mass("marketable", "Marketable"),
        number("clusters", "Clusters"),
        light("cluster_weight", "Weight of a cluster"),
        Column("berry_weight", "Weight of a berry", units.berry_weight.unit, number=True,
               digits=units.berry_weight.digits),
        number("soluble_solids", "Soluble solids", unit=BRIX.unit, digits=BRIX.digits),
        number("ph", "pH", digits=PH.digits),
        number("titratable_acidity", "Titratable acidity", unit=ACIDITY.unit, digits=ACIDITY.digits),
        Column("reference_acid", "Given as"),
    )  # fmt: skip
    left = picked.count - len(picked.listed)
    note = f"{counted(left, 'further picking')} not listed." if left else ""
    return Table("pickings", "Pickings", columns, tuple(_picking_row(facts, row) for row in picked.listed), note=note)


def _picking_row(facts: Facts, row: dict[str, Any]) -> tuple[Cell, ...]:
    units = facts.reading.units
    told = {name: None if each is None else float(each) for name, each in row.items() if name in _NUMBERS}
    return (
        _SCOPES[row["scope"]],
        row["picking"],
        row["vines_picked"],
        units.block_yield.of(told["yield_kg"]),
        units.block_yield.of(told["marketable_yield_kg"]),
        row["clusters"],
        units.cane_weight.of(told["cluster_weight_kg"]),
        units.berry_weight.of(told["berry_weight_kg"]),
        BRIX.of(told["soluble_solids_brix"]),
        PH.of(told["ph"]),
        ACIDITY.of(told["titratable_acidity_g_per_l"]),
        f"{row['reference_acid']} acid" if row["reference_acid"] else "",
    )


_NUMBERS: Final = {
    "yield_kg", "marketable_yield_kg", "cluster_weight_kg", "berry_weight_kg", "soluble_solids_brix", "ph",
    "titratable_acidity_g_per_l",
}  # fmt: skip


def _estimates_table(facts: Facts, found: BlockYield) -> Table:
    units = facts.reading.units
    mass = partial(Column, unit=units.block_yield.unit, number=True, digits=units.block_yield.digits)
    columns = (
        Column("way", "Weight of a cluster by"),
        Column("weight", "Weight of a cluster", units.cane_weight.unit, number=True, digits=units.cane_weight.digits),
        mass("estimate", "Estimate"),
        mass("low", "Low"),
        mass("high", "High"),
        mass("harvest", "Harvest"),
        Column("off", "Estimate less harvest", "%", number=True, digits=PERCENT.digits),
        Column("reason", "Why there is none"),
    )
    rows = tuple(_estimate_row(facts, way) for way in yields_of(found.question).ways)
    note = (
        f"Low and high are the ends of the {CONFIDENCE:g} % interval, which knows only the samples; one value has none."
    )
    return Table("estimates", "Estimates by counting clusters, against the harvest", columns, rows, note=note)


def _estimate_row(facts: Facts, way: WayToYield) -> tuple[Cell, ...]:
    units, picked = facts.reading.units, facts.crop.block_kg
    mass = units.block_yield
    if way.estimate is None:
        return (way.method.label, None, None, None, None, mass.of(picked), None, way.reason or "")
    total = way.estimate.total
    between = interval_of(total, CONFIDENCE)
    off = round(100 * (total.value - picked) / picked, 6) if picked else None
    return (
        way.method.label, units.cane_weight.of(way.estimate.weight.value), mass.of(total.value),
        mass.of(between.low) if between else None, mass.of(between.high) if between else None, mass.of(picked), off, "",
    )  # fmt: skip


def _sentences(facts: Facts, picked: Pickings, solids: Figure) -> Iterator[str]:
    if picked.of_vines:
        weighed = "" if picked.weighed_of_vines == picked.of_vines else f", {picked.weighed_of_vines} of them weighed"
        yield f"{counted(picked.of_vines, 'picking')} of single vines{weighed}; see the crop load of vines."
    if facts.places.young:
        yield (
            f"{counted(facts.places.young, 'vine')} planted in this season or the two before it bear little or nothing "
            "yet, and count as bearing in an estimate."
        )
    flag = ripeness_flag(facts.verdict_of(facts.load), solids.verdict or None)
    if flag is not None:
        yield flag[1]
