"""Store what was planned, a chunk at a time; every id follows from the place, so storing again changes nothing."""

from __future__ import annotations

import uuid
from collections.abc import Sequence
from dataclasses import asdict, dataclass, field
from decimal import Decimal
from typing import Any, Final

from django.db.models import Count

from records.imports.checking import Finding
from records.imports.planning import PlannedVine
from records.models import DormantRecord, Import, ImportRow, Row, Vine
from records.models.dormant import Source
from records.models.imports import LineOutcome
from records.services.dormant import quantity_columns
from records.units import to_canonical

#: Ids of rows, vines and records that a file names are made from their place (UUID version 5, RFC 9562).
SPACE: Final = uuid.UUID("0b6c3a52-9d1f-5c58-8f61-3a2f0c9e7d14")
Place = tuple[int, int]


def id_of(*parts: object) -> uuid.UUID:
    """Give the id that follows from a place: the same parts, the same id."""
    return uuid.uuid5(SPACE, "/".join(str(part) for part in parts))


@dataclass
class _Ground:
    """What stands in the block: vines by place, which of them this chunk made, and weights on record."""

    vines: dict[Place, uuid.UUID] = field(default_factory=dict)
    new: set[uuid.UUID] = field(default_factory=set)
    weights_kg: dict[uuid.UUID, Decimal | None] = field(default_factory=dict)


def store_chunk(imported: Import, chunk: Sequence[PlannedVine]) -> None:
    """Store rows, vines, records and lines of one chunk in the open transaction.

    A line that an earlier attempt stored keeps the outcome that it had then.
    """
    ground = _Ground()
    placed = {(p.row_number, p.place): p for p in chunk if p.row_number is not None and p.place is not None}
    _store_vines(imported, placed, ground)
    _store_records(imported, placed, ground)
    lines = [_line(imported, planned, ground) for planned in chunk]
    ImportRow.objects.bulk_create(lines, ignore_conflicts=True)


def counts_of(imported: Import) -> dict[str, int]:
    """Give how many lines came to which outcome, and how many are doubtful."""
    lines = ImportRow.objects.for_farm(imported.farm_id).filter(imported=imported)
    by_outcome = dict(lines.order_by().values_list("outcome").annotate(Count("id")))
    doubtful = lines.exclude(findings=[]).count()
    return {**{str(outcome): by_outcome.get(outcome, 0) for outcome in LineOutcome}, "with_findings": doubtful}


def _store_vines(imported: Import, placed: dict[Place, PlannedVine], ground: _Ground) -> None:
    """Store the rows and vines that are not there yet."""
    farm_id, block_id = imported.farm_id, imported.block_id
    numbers = sorted({row_number for row_number, _ in placed})
    Row.objects.bulk_create(
        [Row(id=id_of(farm_id, block_id, n), farm_id=farm_id, block_id=block_id, number=n) for n in numbers],
        ignore_conflicts=True,
    )
    of_block = Row.objects.for_farm(farm_id).filter(block_id=block_id, number__in=numbers)
    rows = dict(of_block.values_list("number", "id"))
    before = _vines_by_place(imported, numbers)
    missing = [place for place in sorted(placed) if place not in before]
    Vine.objects.bulk_create(
        [
            Vine(
                id=id_of(farm_id, block_id, *place),
                farm_id=farm_id,
                block_id=block_id,
                row_id=rows[place[0]],
                row_number=place[0],
                place=place[1],
                label=placed[place].label,
                rootstock=placed[place].rootstock,
            )
            for place in missing
        ],
        ignore_conflicts=True,
    )
    ground.vines = _vines_by_place(imported, numbers) if missing else before
    ground.new = {ground.vines[place] for place in missing if place in ground.vines}


def _vines_by_place(imported: Import, row_numbers: Sequence[int]) -> dict[Place, uuid.UUID]:
    vines = Vine.objects.for_farm(imported.farm_id).filter(block_id=imported.block_id, row_number__in=row_numbers)
    return {(row, place): pk for row, place, pk in vines.values_list("row_number", "place", "id")}


def _store_records(imported: Import, placed: dict[Place, PlannedVine], ground: _Ground) -> None:
    """Store a record for every vine that was weighed or counted and has none for the season."""
    measured = {
        ground.vines[place]: planned
        for place, planned in placed.items()
        if place in ground.vines and (planned.weight is not None or planned.nodes_retained is not None)
    }
    records = DormantRecord.objects.for_farm(imported.farm_id).filter(season=imported.season)
    on_record = records.filter(vine_id__in=list(measured)).values_list("vine_id", "pruning_weight_kg")
    ground.weights_kg = dict(on_record)
    fresh = [vine_id for vine_id in sorted(measured) if vine_id not in ground.weights_kg]
    DormantRecord.objects.bulk_create(
        [_record(imported, vine_id, measured[vine_id]) for vine_id in fresh], ignore_conflicts=True
    )
    ground.new |= set(fresh)


def _record(imported: Import, vine_id: uuid.UUID, planned: PlannedVine) -> DormantRecord:
    columns: dict[str, Any] = quantity_columns("pruning_weight", planned.weight)
    return DormantRecord(
        id=id_of(imported.farm_id, vine_id, imported.season),
        farm_id=imported.farm_id,
        block_id=imported.block_id,
        vine_id=vine_id,
        season=imported.season,
        nodes_retained=planned.nodes_retained,
        source=Source.IMPORT,
        imported_from=imported,
        imported_line=planned.line.number,
        **columns,
    )


def _line(imported: Import, planned: PlannedVine, ground: _Ground) -> ImportRow:
    place = (
        (planned.row_number, planned.place) if planned.row_number is not None and planned.place is not None else None
    )
    vine_id = ground.vines.get(place) if place else None
    findings = [*planned.findings, *_clash(imported, planned, ground, vine_id)]
    outcome = LineOutcome.UNCHANGED
    if vine_id is None or len(findings) > len(planned.findings):
        outcome = LineOutcome.NOT_STORED
    elif vine_id in ground.new:
        outcome = LineOutcome.CREATED
    return ImportRow(
        id=id_of(imported.farm_id, imported.pk, planned.line.number),
        farm_id=imported.farm_id,
        imported=imported,
        line=planned.line.number,
        values={**planned.line.values, **({"": list(planned.line.extra)} if planned.line.extra else {})},
        outcome=outcome,
        findings=[asdict(finding) for finding in findings],
        vine_id=vine_id,
    )


def _clash(imported: Import, planned: PlannedVine, ground: _Ground, vine_id: uuid.UUID | None) -> list[Finding]:
    """Say where another weight is on record for the vine and season: it stands, and the file's is kept as sent."""
    if vine_id not in ground.weights_kg or planned.weight is None:
        return []
    standing = ground.weights_kg[vine_id]
    if standing == to_canonical(planned.weight, "mass"):
        return []
    heading = imported.column_map["headings"]["pruning_weight"]
    what = "no weight" if standing is None else f"{standing.normalize():f} kg"
    reason = (
        f"the vine has a record for season {imported.season} with {what}, which stands; correct it there if need be"
    )
    return [Finding(planned.line.number, heading, planned.line.values[heading], "already_recorded", reason)]
