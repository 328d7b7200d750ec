"""Take in a file of records of one kind: note it, let a worker carry it out, answer with what became of every line."""

from __future__ import annotations

import hashlib
import uuid
from collections.abc import Iterator
from functools import partial
from typing import Final

from django.db import transaction

from records.access import Caller, OpenFarm, Right, enter, open_farm, open_for_work
from records.bulk.reading import Careful
from records.errors import NotAllowed, NotValid
from records.files.reading import check_headings, documents_of, in_chunks
from records.files.taking import take_part
from records.imports.reading import read_table
from records.imports.storing import counts_of, id_of
from records.kinds import KINDS, Kind
from records.models import Import, Person
from records.models.imports import Existing, LineOutcome
from records.services import jobs
from records.services.imports import Asked, Request, carried_by, running_again
from records.signals import count_rows

KIND: Final = "import_records"
LINES_IN_A_PART: Final = 1_000


def ask_for_records(opened: OpenFarm, asked: Request) -> Asked:
    """Note a file of records to be taken in; the same file is the same import.

    Raises
    ------
    NotValid
        The file cannot be read, or has a heading that says nothing of the kind.
    """
    opened.require(Right.RECORD)
    kind = _kind(asked.kind)
    if asked.column_map is not None or asked.season is not None:
        at = "map" if asked.column_map is not None else "season"
        raise NotValid.at(at, code="not_of_a_kind", detail=f"A file of one kind takes no {at}; its columns say it.")
    if asked.existing == Existing.COMPLETE:
        raise NotValid.at("existing", code="not_of_a_kind", detail="Of a file of one kind, existing is keep or update.")
    check_headings(read_table(asked.content, asked.sheet), kind)
    digest = hashlib.sha256(asked.content).hexdigest()
    said = (kind.name, digest, asked.sheet, asked.existing, asked.block_name)
    import_id = uuid.uuid4() if asked.dry_run else id_of(opened.farm.pk, *said)
    known = Import.objects.for_farm(opened.farm).filter(pk=import_id).select_related("job").first()
    if known is not None:
        return Asked(known, running_again(opened, known, KIND), new=False)
    job = jobs.queue_job(opened, KIND)
    imported = Import.objects.create(
        id=import_id, farm=opened.farm, job=job, block_name=asked.block_name, kind=kind.name,
        file_name=asked.file_name[:200], file_sha256=digest, content=asked.content, column_map={"name": kind.name},
        sheet=asked.sheet, dry_run=asked.dry_run, existing=asked.existing,
    )  # fmt: skip
    return Asked(imported, job, new=True)


def _kind(name: str) -> Kind:
    if name not in KINDS:
        known = ", ".join(KINDS)
        raise NotValid.at("kind", code="unknown_kind", detail=f"There is no kind of record {name!r}; known: {known}.")
    return KINDS[name]


def carry_out(careful: Careful, farm_id: uuid.UUID, job_id: uuid.UUID) -> Iterator[jobs.Progress]:
    """Store the file's records part by part, each through the door anew; safe to begin again.

    Whoever sent the file and may not record on the farm any more stores no further part.
    """
    with transaction.atomic():
        open_for_work(farm_id)
        imported = carried_by(farm_id, job_id)
        sender = imported.job.asked_by
        opened = _through_the_door(sender, farm_id)
        kind = KINDS[imported.kind]
        table = read_table(bytes(imported.content), imported.sheet)
        documents = documents_of(opened, kind, table, imported.block_name)
    counts: dict[str, int] = {}
    done, total = 0, len(documents)
    yield done, total
    for part in in_chunks(documents, LINES_IN_A_PART):
        with transaction.atomic():
            opened = _through_the_door(sender, farm_id)
            take_part(opened, imported, kind, part, careful)
            counts = counts_of(imported)
            Import.objects.for_farm(farm_id).filter(pk=imported.pk).update(counts=counts)
        done += len(part)
        yield done, total
    for outcome in () if imported.dry_run else LineOutcome:  # a file that is begun again is counted at its end, once
        count_rows(outcome, counts.get(outcome, 0))


def _through_the_door(sender: Person | None, farm_id: uuid.UUID) -> OpenFarm:
    if sender is None:
        raise NotAllowed("Whoever sent the file is not known any more. Send it again.")
    caller = Caller(sender)
    enter(caller)
    return open_farm(caller, farm_id, Right.RECORD)


def register(careful: Careful) -> None:
    """Let jobs of this kind be carried out, with the API's way of reading a document."""
    jobs.KINDS[KIND] = partial(carry_out, careful)
    jobs.RIGHTS[KIND] = Right.RECORD
