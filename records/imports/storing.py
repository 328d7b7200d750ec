"""Store what was planned, a chunk at a time; every id follows from the place, so storing again changes nothing."""

from __future__ import annotations

import uuid
from collections.abc import Collection, Mapping, Sequence
from dataclasses import asdict
from typing import Any, Final

from django.db.models import Count, Q

from records.imports.completing import OnRecord, Settled, fill, nothing_to_settle, settled
from records.imports.placing import Ground, Located, Standing, locate
from records.imports.planning import PlannedVine
from records.inserting import insert_rows
from records.kinds.definitions import DORMANT_RECORD
from records.models import Block, DormantRecord, Import, ImportRow, Row, Vine
from records.models.dormant import Source
from records.models.imports import LineOutcome
from records.services.recording import member_columns

#: Ids of rows, vines and records that a file names are made from their place (UUID version 5, RFC 9562).
SPACE: Final = uuid.UUID("0b6c3a52-9d1f-5c58-8f61-3a2f0c9e7d14")


def id_of(*parts: object) -> uuid.UUID:
    """Give the id that follows from a place: the same parts, the same id."""
    return uuid.uuid5(SPACE, "/".join(str(part) for part in parts))


def ground_of(imported: Import) -> Ground:
    """Give the ground of a block before anything is known of it."""
    block = imported.block_id or imported.block_name
    return Ground(
        lambda row_number, place: id_of(imported.farm_id, block, row_number, place), may_plant=imported.may_plant
    )


def store_chunk(imported: Import, chunk: Sequence[PlannedVine], ground: Ground) -> None:
    """Store rows, vines, records and lines of one chunk in the open transaction; of a dry run, the lines only.

    A line that an earlier attempt stored keeps the outcome that it had then.  Somebody else who writes on the same
    vines meanwhile breaks a unique key and with it the transaction; the job is tried again and finds what they wrote.
    """
    if not imported.dry_run:
        # Two files for one block follow each other; this lock lets everybody else write on.
        Block.objects.for_farm(imported.farm_id).select_for_update(no_key=True).get(pk=imported.block_id)
    _learn(ground, imported, chunk)
    located = [(planned, locate(planned, ground)) for planned in chunk]
    measured = {
        found.vine.vine_id: planned for planned, found in located if found.vine and _is_measured(planned)
    }  # fmt: skip
    on_record = _records(imported, measured)
    settling = {
        vine_id: settled(imported, planned, on_record[vine_id])
        for vine_id, planned in measured.items()
        if vine_id in on_record
    }
    if not imported.dry_run:
        _store_vines(imported, ground.planted())
        fresh = [vine_id for vine_id in sorted(measured) if vine_id not in on_record]
        insert_rows(DormantRecord, [_record(imported, vine_id, measured[vine_id]) for vine_id in fresh])
        fill(imported, [each for each in settling.values() if each.fills])
    lines = [_line(imported, planned, found, on_record, settling) for planned, found in located]
    insert_rows(ImportRow, lines, skip_known=True)


def counts_of(imported: Import) -> dict[str, int]:
    """Give how many lines came to which outcome, and how many are doubtful."""
    lines = ImportRow.objects.for_farm(imported.farm_id).filter(imported=imported).order_by()
    rows = lines.values_list("outcome").annotate(lines=Count("id"), doubtful=Count("id", filter=~Q(findings=[])))
    by_outcome = {outcome: count for outcome, count, _ in rows}
    doubtful = sum(count for _, _, count in rows)
    return {**{str(outcome): by_outcome.get(outcome, 0) for outcome in LineOutcome}, "with_findings": doubtful}


def _learn(ground: Ground, imported: Import, chunk: Sequence[PlannedVine]) -> None:
    """Add the vines of the rows, and of the labels, that a chunk of lines speaks of."""
    if imported.block_id is None:
        return
    rows = {planned.row_number for planned in chunk if planned.row_number is not None}
    labels = {planned.label for planned in chunk if planned.label}
    of_block = Vine.objects.for_farm(imported.farm_id).filter(block_id=imported.block_id)
    wanted = of_block.filter(Q(row_number__in=rows) | Q(label__in=labels))
    columns = ("id", "row_number", "place", "label", "rootstock")
    ground.add(Standing(*values) for values in wanted.values_list(*columns))


def _store_vines(imported: Import, planted: Sequence[Standing]) -> None:
    """Store the vines that the file plants, with their rows."""
    if not planted:
        return
    farm_id, block_id = imported.farm_id, imported.block_id
    numbers = sorted({vine.row_number for vine in planted})
    places = [
        {"id": id_of(farm_id, block_id, n), "farm_id": farm_id, "block_id": block_id, "number": n} for n in numbers
    ]
    insert_rows(Row, places, skip_known=True)
    of_block = Row.objects.for_farm(farm_id).filter(block_id=block_id, number__in=numbers)
    rows = dict(of_block.values_list("number", "id"))
    vines = [
        {
            "id": vine.vine_id,
            "farm_id": farm_id,
            "block_id": block_id,
            "row_id": rows[vine.row_number],
            "row_number": vine.row_number,
            "place": vine.place,
            "label": vine.label,
            "rootstock": vine.rootstock,
        }
        for vine in planted
    ]
    insert_rows(Vine, vines)


def _is_measured(planned: PlannedVine) -> bool:
    return planned.weight is not None or planned.nodes_retained is not None


def _records(imported: Import, vine_ids: Collection[uuid.UUID]) -> dict[uuid.UUID, OnRecord]:
    """Give what is on record for these vines in the season of the file.

    Of withdrawn records only the one counts that has the id which a line of a file would give it: it cannot be made
    anew.  Another live one may stand beside it.
    """
    records = DormantRecord.objects.for_farm(imported.farm_id).filter(season=imported.season, vine_id__in=vine_ids)
    if not imported.dry_run:
        records = records.order_by("id").select_for_update(no_key=True)
    found: dict[uuid.UUID, OnRecord] = {}
    columns = ("vine_id", "id", "pruning_weight_kg", "nodes_retained", "withdrawn_at")
    for vine_id, record_id, weight_kg, nodes, withdrawn_at in records.values_list(*columns):
        if withdrawn_at is None:
            found[vine_id] = OnRecord(record_id, weight_kg, nodes)
        elif record_id == id_of(imported.farm_id, vine_id, imported.season):
            found.setdefault(vine_id, OnRecord(record_id, withdrawn=True))
    return found


def _record(imported: Import, vine_id: uuid.UUID, planned: PlannedVine) -> dict[str, Any]:
    return {
        "id": id_of(imported.farm_id, vine_id, imported.season),
        "farm_id": imported.farm_id,
        "block_id": imported.block_id,
        "vine_id": vine_id,
        "season": imported.season,
        **member_columns(
            DORMANT_RECORD, {"pruning_weight": planned.weight, "nodes_retained": planned.nodes_retained}, only_said=True
        ),
        "recorded_by_id": imported.job.asked_by_id,
        "source": Source.IMPORT.value,
        "imported_from_id": imported.pk,
        "imported_line": planned.line.number,
    }


def _line(
    imported: Import,
    planned: PlannedVine,
    found: Located,
    on_record: Mapping[uuid.UUID, OnRecord],
    settling: Mapping[uuid.UUID, Settled],
) -> dict[str, Any]:
    vine = found.vine
    standing = on_record.get(vine.vine_id) if vine else None
    measured = _is_measured(planned)
    how = settling.get(vine.vine_id, nothing_to_settle) if vine and standing and measured else nothing_to_settle
    outcome = LineOutcome.UNCHANGED
    if how.fills:
        outcome = LineOutcome.COMPLETED
    elif vine is None or how.clashes:
        outcome = LineOutcome.NOT_STORED
    elif vine.new or (standing is None and measured):
        outcome = LineOutcome.CREATED
    made = id_of(imported.farm_id, vine.vine_id, imported.season) if vine and measured else None
    extra = {"": list(planned.line.extra)} if planned.line.extra else {}
    return {
        "id": id_of(imported.farm_id, imported.pk, planned.line.number),
        "farm_id": imported.farm_id,
        "imported_id": imported.pk,
        "line": planned.line.number,
        "values": {**planned.line.values, **extra},
        "outcome": outcome.value,
        "findings": [asdict(finding) for finding in (*planned.findings, *found.findings, *how.clashes)],
        "vine_id": vine.vine_id if vine else None,
        "record_id": standing.record_id if standing else made,
    }
