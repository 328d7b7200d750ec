"""Store what was planned, a chunk at a time; every id follows from the place, so storing again changes nothing."""

from __future__ import annotations

import uuid
from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import asdict, dataclass
from decimal import Decimal
from typing import Any, Final

from django.db.models import Count, Q

from records.imports.checking import Finding
from records.imports.placing import Ground, Located, Standing, locate
from records.imports.planning import PlannedVine
from records.kinds.definitions import DORMANT_RECORD
from records.models import Block, DormantRecord, Import, ImportRow, Row, Vine
from records.models.dormant import Source
from records.models.imports import LineOutcome
from records.services.recording import member_columns
from records.units import to_canonical

#: Ids of rows, vines and records that a file names are made from their place (UUID version 5, RFC 9562).
SPACE: Final = uuid.UUID("0b6c3a52-9d1f-5c58-8f61-3a2f0c9e7d14")


def id_of(*parts: object) -> uuid.UUID:
    """Give the id that follows from a place: the same parts, the same id."""
    return uuid.uuid5(SPACE, "/".join(str(part) for part in parts))


@dataclass(frozen=True)
class _OnRecord:
    """What is on record for a vine and season."""

    weight_kg: Decimal | None
    nodes_retained: int | None


def store_chunk(imported: Import, chunk: Sequence[PlannedVine]) -> None:
    """Store rows, vines, records and lines of one chunk in the open transaction.

    A line that an earlier attempt stored keeps the outcome that it had then.  Somebody else who writes on the same
    vines meanwhile breaks a unique key and with it the transaction; the job is tried again and finds what they wrote.
    """
    # Two files for one block follow each other; this lock lets everybody else write on.
    Block.objects.for_farm(imported.farm_id).select_for_update(no_key=True).get(pk=imported.block_id)
    ground = _ground(imported, chunk)
    located = [(planned, locate(planned, ground)) for planned in chunk]
    _store_vines(imported, ground.planted())
    measured = {
        found.vine.vine_id: planned for planned, found in located if found.vine and _is_measured(planned)
    }  # fmt: skip
    on_record = _records(imported, measured)
    fresh = [vine_id for vine_id in sorted(measured) if vine_id not in on_record]
    DormantRecord.objects.bulk_create([_record(imported, vine_id, measured[vine_id]) for vine_id in fresh])
    lines = [_line(imported, planned, found, on_record) for planned, found in located]
    ImportRow.objects.bulk_create(lines, ignore_conflicts=True)


def counts_of(imported: Import) -> dict[str, int]:
    """Give how many lines came to which outcome, and how many are doubtful."""
    lines = ImportRow.objects.for_farm(imported.farm_id).filter(imported=imported)
    by_outcome = dict(lines.order_by().values_list("outcome").annotate(Count("id")))
    doubtful = lines.exclude(findings=[]).count()
    return {**{str(outcome): by_outcome.get(outcome, 0) for outcome in LineOutcome}, "with_findings": doubtful}


def _ground(imported: Import, chunk: Sequence[PlannedVine]) -> Ground:
    """Give the vines of the rows, and of the labels, that a chunk of lines speaks of."""
    rows = {planned.row_number for planned in chunk if planned.row_number is not None}
    labels = {planned.label for planned in chunk if planned.label}
    of_block = Vine.objects.for_farm(imported.farm_id).filter(block_id=imported.block_id)
    wanted = of_block.filter(Q(row_number__in=rows) | Q(label__in=labels))
    ground = Ground(lambda row_number, place: id_of(imported.farm_id, imported.block_id, row_number, place))
    columns = ("id", "row_number", "place", "label", "rootstock")
    ground.add(Standing(*values) for values in wanted.values_list(*columns))
    return ground


def _store_vines(imported: Import, planted: Sequence[Standing]) -> None:
    """Store the vines that the file plants, with their rows."""
    if not planted:
        return
    farm_id, block_id = imported.farm_id, imported.block_id
    numbers = sorted({vine.row_number for vine in planted})
    Row.objects.bulk_create(
        [Row(id=id_of(farm_id, block_id, n), farm_id=farm_id, block_id=block_id, number=n) for n in numbers],
        ignore_conflicts=True,
    )
    of_block = Row.objects.for_farm(farm_id).filter(block_id=block_id, number__in=numbers)
    rows = dict(of_block.values_list("number", "id"))
    Vine.objects.bulk_create(
        [
            Vine(
                id=vine.vine_id,
                farm_id=farm_id,
                block_id=block_id,
                row_id=rows[vine.row_number],
                row_number=vine.row_number,
                place=vine.place,
                label=vine.label,
                rootstock=vine.rootstock,
            )
            for vine in planted
        ]
    )


def _is_measured(planned: PlannedVine) -> bool:
    return planned.weight is not None or planned.nodes_retained is not None


def _records(imported: Import, vine_ids: Collection[uuid.UUID]) -> dict[uuid.UUID, _OnRecord]:
    """Give what is on record for these vines in the season of the file."""
    records = DormantRecord.objects.for_farm(imported.farm_id).filter(season=imported.season, vine_id__in=vine_ids, withdrawn_at=None)
    columns = records.values_list("vine_id", "pruning_weight_kg", "nodes_retained")
    return {vine_id: _OnRecord(weight_kg, nodes) for vine_id, weight_kg, nodes in columns}


def _record(imported: Import, vine_id: uuid.UUID, planned: PlannedVine) -> DormantRecord:
    columns: dict[str, Any] = member_columns(
        DORMANT_RECORD, {"pruning_weight": planned.weight}, only_said=True
    )
    return DormantRecord(
        id=id_of(imported.farm_id, vine_id, imported.season),
        farm_id=imported.farm_id,
        block_id=imported.block_id,
        vine_id=vine_id,
        season=imported.season,
        nodes_retained=planned.nodes_retained,
        recorded_by_id=imported.job.asked_by_id,
        source=Source.IMPORT,
        imported_from=imported,
        imported_line=planned.line.number,
        **columns,
    )


def _line(
    imported: Import, planned: PlannedVine, found: Located, on_record: Mapping[uuid.UUID, _OnRecord]
) -> ImportRow:
    vine = found.vine
    standing = on_record.get(vine.vine_id) if vine else None
    clashes = list(_clashes(imported, planned, standing)) if standing else []
    outcome = LineOutcome.UNCHANGED
    if vine is None or clashes:
        outcome = LineOutcome.NOT_STORED
    elif vine.new or (standing is None and _is_measured(planned)):
        outcome = LineOutcome.CREATED
    return ImportRow(
        id=id_of(imported.farm_id, imported.pk, planned.line.number),
        farm_id=imported.farm_id,
        imported=imported,
        line=planned.line.number,
        values={**planned.line.values, **({"": list(planned.line.extra)} if planned.line.extra else {})},
        outcome=outcome,
        findings=[asdict(finding) for finding in (*planned.findings, *found.findings, *clashes)],
        vine_id=vine.vine_id if vine else None,
    )


def _clashes(imported: Import, planned: PlannedVine, standing: _OnRecord) -> Iterator[Finding]:
    """Say where something else is on record for the vine and season: it stands, and the file's is kept as sent."""
    if planned.weight is not None and standing.weight_kg != to_canonical(planned.weight, "mass"):
        kg = standing.weight_kg
        what = "no weight" if kg is None else f"{kg.normalize():f} kg"
        yield planned.finding("pruning_weight", "already_recorded", _stands(imported, what))
    if planned.nodes_retained is not None and standing.nodes_retained != planned.nodes_retained:
        nodes = standing.nodes_retained
        what = "no count" if nodes is None else f"{nodes} nodes retained"
        yield planned.finding("nodes_retained", "already_recorded", _stands(imported, what))


def _stands(imported: Import, what: str) -> str:
    return f"the vine has a record for season {imported.season} with {what}, which stands; correct it there if need be"
