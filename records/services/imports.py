"""Take in a file of vines: note it, let a worker carry it out in chunks, answer with what became of every line."""

from __future__ import annotations

import hashlib
import uuid
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any, Final

from django.conf import settings
from django.db import transaction

from records.access import OpenFarm, Right, open_for_work
from records.errors import NotAllowed, NotFound, NotValid
from records.imports.column_maps import ColumnMap, map_for, read_map, shipped_maps
from records.imports.planning import plan
from records.imports.reading import Table, read_table
from records.imports.storing import counts_of, ground_of, id_of, store_chunk
from records.models import Block, Import, Job, PruningFormula
from records.models.imports import Existing, LineOutcome
from records.models.jobs import JobState
from records.services import jobs
from records.services.storing import create_once
from records.signals import count_rows

KIND: Final = "import_vines"
LINES_IN_A_CHUNK: Final = 500


@dataclass(frozen=True)
class Request:
    """What somebody asks to be taken in; what is left out, the column map says."""

    file_name: str
    content: bytes
    column_map: ColumnMap | None = None
    block_name: str = ""
    season: int | None = None
    sheet: str = ""
    dry_run: bool = False
    existing: str = Existing.COMPLETE.value
    kind: str = ""


@dataclass(frozen=True)
class Asked:
    """An import and its job, and whether the same file was asked for before."""

    imported: Import
    job: Job
    new: bool


def column_maps() -> dict[str, ColumnMap]:
    """Give the column maps that come with the service."""
    return shipped_maps(settings.FIXTURES_DIR / "column_maps")


def named_map(told: str) -> ColumnMap:
    """Give a shipped map by its name.

    Raises
    ------
    NotValid
        No map has this name.
    """
    maps = column_maps()
    if told not in maps:
        raise NotValid.at(
            "map", code="unknown_map", detail=f"There is no column map {told!r}; known: {', '.join(maps)}."
        )
    return maps[told]


def ask_for_import(opened: OpenFarm, asked: Request) -> Asked:
    """Note a file to be taken in; the same file for the same block and season is the same import.

    A dry run is noted anew each time: what it reports is how things stand today.

    Raises
    ------
    NotValid
        The file cannot be read, or no column map fits it, or block or season are not said.
    NotAllowed
        The farm has no such block, and the caller may not make one.
    """
    opened.require(Right.RECORD)
    if asked.existing == Existing.UPDATE:
        raise NotValid.at("existing", code="not_of_vines", detail="Of a file of vines, existing is complete or keep.")
    table = read_table(asked.content, asked.sheet)
    column_map = asked.column_map or map_for(table.headings, column_maps())
    _check_headings(table, column_map)
    season = _said(asked.season or column_map.season, "season", "the harvest year that the winter belongs to")
    name = _said(asked.block_name or column_map.block.get("name"), "block", "the name of the block")
    digest = hashlib.sha256(asked.content).hexdigest()
    block = _block(opened, name, column_map, dry_run=asked.dry_run)
    may_plant = Right.MANAGE in opened.rights
    said = (season, digest, column_map.reading(), asked.sheet, asked.existing, may_plant)
    import_id = uuid.uuid4() if asked.dry_run or block is None else id_of(opened.farm.pk, _held(block).pk, *said)
    known = Import.objects.for_farm(opened.farm).filter(pk=import_id).select_related("job").first()
    if known is not None:
        return Asked(known, running_again(opened, known), new=False)
    job = jobs.queue_job(opened, KIND)
    imported = Import.objects.create(
        id=import_id, farm=opened.farm, job=job, block=block, block_name=name, file_name=asked.file_name[:200],
        file_sha256=digest, content=asked.content, column_map=column_map.as_json(), season=season, sheet=asked.sheet,
        dry_run=asked.dry_run, existing=asked.existing, may_plant=may_plant,
    )  # fmt: skip
    return Asked(imported, job, new=True)


def running_again(opened: OpenFarm, known: Import, kind: str = KIND) -> Job:
    """Give the job of an import; one that failed or was cancelled is tried again."""
    if known.job.state not in {JobState.FAILED, JobState.CANCELLED}:
        return known.job
    job = jobs.queue_job(opened, kind)
    Import.objects.for_farm(opened.farm).filter(pk=known.pk).update(job=job)
    return job


def _check_headings(table: Table, column_map: ColumnMap) -> None:
    lacking = sorted(column_map.needed - set(table.headings))
    if lacking:
        raise NotValid.at(
            "map",
            code="headings_missing",
            detail=f"The file has no heading {lacking[0]!r}, which the column map {column_map.name!r} needs. "
            f"It has: {', '.join(table.headings)}.",
        )


def _said(value: Any, member: str, meaning: str) -> Any:
    if not value:
        raise NotValid.at(member, code="required", detail=f"Neither the request nor the column map says {meaning}.")
    return value


def _block(opened: OpenFarm, name: str, column_map: ColumnMap, *, dry_run: bool) -> Block | None:
    """Give the block of this name, made from what the map says of it if the farm has none; a dry run makes none."""
    known: Block | None = Block.objects.for_farm(opened.farm).filter(name=name).defer("boundary").first()
    if known is not None:
        return known
    if Right.MANAGE not in opened.rights:
        raise NotAllowed(
            f"The farm has no block named {name[:120]!r}, and to make one takes the right 'manage'. Name a block that "
            "it has, or let whoever manages the farm send the file."
        )
    if dry_run:
        _block_columns(name, column_map.block)
        return None
    return create_once(Block, opened.farm, id_of(opened.farm.pk, name), _block_columns(name, column_map.block)).row


def _held(block: Block) -> Block:
    """Let whoever asks for an import of the same block wait for this transaction: one file is one import."""
    blocks = Block.objects.for_farm(block.farm_id).defer("boundary")
    held: Block = blocks.select_for_update(no_key=True).get(pk=block.pk)
    return held


def _block_columns(name: str, told: Mapping[str, Any]) -> dict[str, Any]:
    columns: dict[str, Any] = {
        "name": name,
        "note": told.get("note", ""),
        "training": told.get("training", "not_stated"),
    }
    if code := told.get("pruning_formula"):
        formula = PruningFormula.objects.filter(code=code).order_by("-formula_version").first()
        if formula is None:
            raise NotValid.at("map", code="unknown_formula", detail=f"The catalogue has no formula {code!r}.")
        columns["pruning_formula"] = formula
    return columns


def import_of(opened: OpenFarm, import_id: uuid.UUID) -> Import:
    """Give one import of the open farm."""
    imports = Import.objects.for_farm(opened.farm).select_related("job").defer("content")
    imported: Import | None = imports.filter(pk=import_id).first()
    if imported is None:
        raise NotFound
    return imported


def carried_by(farm_id: uuid.UUID, job_id: uuid.UUID) -> Import:
    """Give the import that a job carries out; the farm is open.

    Raises
    ------
    NotValid
        The file was asked for again since, and another job carries it out.
    """
    imports = Import.objects.for_farm(farm_id).select_related("job__asked_by")
    imported: Import | None = imports.filter(job_id=job_id).first()
    if imported is None:
        raise NotValid("The file was sent again since, and another job takes it in.")
    return imported


def carry_out(farm_id: uuid.UUID, job_id: uuid.UUID) -> Iterator[jobs.Progress]:
    """Store the file's lines chunk by chunk, each with its outcome in one transaction; safe to begin again."""
    with transaction.atomic():
        open_for_work(farm_id)
        imported = carried_by(farm_id, job_id)
    column_map = read_map(imported.column_map)
    planned = list(plan(read_table(bytes(imported.content), imported.sheet), column_map))
    counts: dict[str, int] = {}
    dry_ground = ground_of(imported)  # what a dry run plants is remembered here and nowhere else
    yield 0, len(planned)
    for start in range(0, len(planned), LINES_IN_A_CHUNK):
        chunk = planned[start : start + LINES_IN_A_CHUNK]
        with transaction.atomic():
            open_for_work(farm_id)
            jobs.require_asker(imported.job)
            store_chunk(imported, chunk, dry_ground if imported.dry_run else ground_of(imported))
            counts = counts_of(imported)
            Import.objects.for_farm(farm_id).filter(pk=imported.pk).update(counts=counts)
        yield start + len(chunk), len(planned)
    for outcome in () if imported.dry_run else LineOutcome:  # a file that is begun again is counted at its end, once
        count_rows(outcome, counts.get(outcome, 0))


jobs.KINDS[KIND] = carry_out
jobs.RIGHTS[KIND] = Right.RECORD
