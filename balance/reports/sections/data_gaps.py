"""Data gaps and suspicious records: what lacks, what looks doubtful, what was corrected, and what to do about each."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Final

from balance.doubtful_records import (
    Corrections,
    corrections_of,
    doubts_of_winter,
    newest_buds_before,
    pickings_not_weighed,
)
from balance.formulas.buds.bud_explanation import UNPRUNED_BUDS
from balance.formulas.counting import counted
from balance.reports.document import Column, Figure, Section, Table
from balance.reports.facts import Facts
from balance.reports.figures import figure, written
from balance.reports.quantities import Measure
from balance.reports.sections.bud_injury import injury_of
from balance.reports.sections.prunings import NO_VINES
from records.models.vineyards import Training
from records.services.unit_doubts import UnitDoubt, doubts_of_season
from records.units import UNITS

CODE: Final = "data_gaps"
TITLE: Final = "Data gaps and suspicious records"
GAP: Final = "missing"
DOUBT: Final = "doubtful"
CHANGE: Final = "corrected"
_VERSIONS: Final = Measure("versions", 1, 0)
_KINDS: Final = {GAP: "Missing", DOUBT: "Doubtful", CHANGE: "Corrected"}


@dataclass(frozen=True)
class Check:
    """One thing that was looked for: how many there are of it, and what to do about them."""

    kind: str
    code: str
    title: str
    many: int
    unit: str
    todo: str


def section(facts: Facts) -> Section:
    """Compose the section of one block."""
    if not facts.places.count:
        return Section(CODE, TITLE, reason=NO_VINES)
    changed = corrections_of(facts.opened, facts.block, facts.season)
    checks = (*_of_winter(facts), *_of_the_year(facts), *_units(facts), *_corrections(changed))
    found = [each for each in checks if each.many]
    return Section(
        CODE,
        TITLE,
        sentences=tuple(_sentences(len(checks), found)),
        figures=(
            *(_figure(each) for each in checks),
            figure("replaced_versions", "Versions that corrections replaced", _VERSIONS, changed.versions),
        ),
        tables=(_table(found),) if found else (),
    )


def _of_winter(facts: Facts) -> Iterator[Check]:
    found = doubts_of_winter(facts.targets, facts.frame)
    yield Check(
        GAP,
        "not_weighed",
        "Standing vines without a weight",
        found.not_weighed,
        "vines",
        "Fine where a sample was wanted; the precision of the sample says whether more are needed.",
    )
    yield Check(
        GAP,
        "counted_only",
        "Counts of nodes without a weight",
        found.counted_only,
        "vines",
        "Weigh before counting: a count without a weight cannot be judged.",
    )
    yield Check(
        GAP,
        "without_resolution",
        "Weights without the scale's smallest step",
        found.without_resolution,
        "vines",
        "Say the scale's smallest step with each weight, so that counts are judged by what it can tell.",
    )
    yield Check(
        GAP,
        "without_formula",
        "Weights for which no formula answers",
        found.without_formula,
        "vines",
        "Choose a pruning formula for the block or the farm, or name the cultivar.",
    )
    yield Check(
        DOUBT,
        "zero_weights",
        "Weights of zero",
        found.zero,
        "vines",
        "Zero means nothing to cut. If it was not weighed, correct the record and leave the weight out.",
    )
    yield Check(
        DOUBT,
        "far_out_weights",
        "Weights far outside the rest of the block",
        found.far_out,
        "vines",
        "Look at the record and its unit; correct it, or keep it if it is true.",
    )
    yield Check(
        DOUBT,
        "too_many_nodes",
        f"Counts above {UNPRUNED_BUDS} nodes, as of a vine that nobody pruned",
        found.too_many_nodes,
        "vines",
        "Look whether a digit is too many, or base buds were counted.",
    )
    yield Check(
        DOUBT,
        "of_missing_vines",
        "Weights or counts of places without a vine",
        found.of_missing_vines,
        "vines",
        "Either the vine stands, or the record is of another: correct the event or the record.",
    )


def _of_the_year(facts: Facts) -> Iterator[Check]:
    picked = facts.picked
    none = not (picked.count or picked.of_vines)
    unweighed = pickings_not_weighed(facts.opened, facts.block, facts.season)
    yield Check(
        GAP,
        "no_harvest",
        "No harvest of this season on record",
        int(none),
        "harvests",
        "Record the harvest: without it there is no crop load.",
    )
    yield Check(
        GAP,
        "pickings_not_weighed",
        "Pickings that were not weighed",
        unweighed,
        "pickings",
        "Say the yield of every picking; a season with one unweighed has no yield.",
    )
    lacks = injury_of(facts.buds) is None
    earlier = newest_buds_before(facts.opened, facts.block, facts.season) if lacks else None
    since = "None was ever read." if earlier is None else f"The newest is of {earlier}, which says nothing of this one."
    yield Check(
        GAP,
        "no_bud_sample",
        "No bud sample of this winter",
        int(lacks),
        "winters",
        f"{since} Cut buds open after the cold and before pruning.",
    )
    unset = _unset(facts)
    yield Check(
        GAP,
        "block_not_described",
        f"Not said of the block: {', '.join(unset)}" if unset else "What a block should say of itself and does not",
        len(unset),
        "facts",
        "Set them on the block: formulas, ranges, areas and shares of cordons rest on them.",
    )


def _unset(facts: Facts) -> list[str]:
    block = facts.block
    area = block.declared_area_m2 or block.computed_area_m2 or (block.vine_spacing_m and block.row_spacing_m)
    said = {
        "cultivar": block.cultivar,
        "vine spacing": block.vine_spacing_m,
        "area or row spacing": area,
        "training": block.training != Training.NOT_STATED,
        "use of the fruit": block.use,
    }
    return [name for name, value in said.items() if not value]


def _units(facts: Facts) -> Iterator[Check]:
    doubts = doubts_of_season(facts.opened, facts.block.pk, facts.season)
    many = sum(each.records for each in doubts)
    why = " ".join(_doubt_said(facts, each) for each in doubts)
    yield Check(
        DOUBT,
        "unit_doubts",
        "Weights that look as if sent in another unit",
        many,
        "vines",
        f"{why} Check what the scale showed, and correct them if need be.".strip(),
    )


def _doubt_said(facts: Facts, each: UnitDoubt) -> str:
    weight = facts.reading.units.vine_weight
    sent, likely = UNITS[each.sent_unit].name, UNITS[each.likely_unit].name
    return (
        f"The median of {counted(each.records, 'weight')} is {written(weight, each.median_kg)}; before, the block's "
        f"was {written(weight, each.median_before_kg)}, as if {likely}s had been sent as {sent}s."
    )


def _corrections(found: Corrections) -> Iterator[Check]:
    yield Check(
        CHANGE,
        "corrected_records",
        "Records of the season that were corrected",
        found.corrected,
        "records",
        f"{counted(found.versions, 'earlier version')} kept; each says who changed it and why.",
    )
    yield Check(
        CHANGE,
        "withdrawn_records",
        "Records of the season that were withdrawn",
        found.withdrawn,
        "records",
        "Nothing: they count nowhere.",
    )


def _figure(check: Check) -> Figure:
    return figure(check.code, check.title, Measure(check.unit, 1, 0), check.many)


def _table(found: list[Check]) -> Table:
    columns = (
        Column("kind", "Kind"),
        Column("what", "What"),
        Column("many", "How many", number=True),
        Column("todo", "What to do"),
    )
    rows = tuple((_KINDS[each.kind], each.title, each.many, each.todo) for each in found)
    return Table("found", "What was found", columns, rows)


def _sentences(looked_for: int, found: list[Check]) -> Iterator[str]:
    if not found:
        yield f"{counted(looked_for, 'thing')} looked for, none found."
        return
    parts = ((kind, sum(each.kind == kind for each in found)) for kind in _KINDS)
    said = ", ".join(f"{many} {kind}" for kind, many in parts if many)
    yield f"Of {counted(looked_for, 'thing')} looked for, {len(found)} found: {said}."
