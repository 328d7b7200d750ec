"""Take out everything that a farm owns: ask for it, let a worker write it, fetch it until it expires."""

from __future__ import annotations

import uuid
from collections.abc import Iterator
from datetime import datetime, timedelta
from typing import Final

from django.db import transaction
from django.db.models import F, QuerySet
from django.utils import timezone

from records.access import Caller, OpenFarm, Right, enter, hold, open_farm, open_for_work
from records.errors import Conflict, Expired, NotFound
from records.exporting.archive import Parts, write_archive
from records.exporting.snapshot import snapshot_of
from records.models import Export, ExportPart, Job
from records.models.jobs import JobState
from records.services import jobs

KIND: Final = "export"
KIND_OF_REMOVAL: Final = "remove_export"
KEPT_FOR: Final = timedelta(days=7)
#: Of one farm; a further one takes the place of the oldest.
MOST_KEPT: Final = 3
UNFINISHED: Final = (JobState.QUEUED, JobState.RUNNING)


def ask_for_export(opened: OpenFarm) -> Export:
    """Note that everything is to be taken out; while one export is being written, it is the one that is given."""
    opened.require(Right.MANAGE)
    hold(opened)  # who asks at once asks for one
    running: Export | None = exports_of(opened).filter(job__state__in=UNFINISHED).first()
    if running is not None:
        return running
    job = jobs.queue_job(opened, KIND)
    return Export.objects.create(farm=opened.farm, job=job)


def exports_of(opened: OpenFarm) -> QuerySet[Export]:
    """Give the exports of the open farm, each with its job."""
    exports: QuerySet[Export] = Export.objects.for_farm(opened.farm).select_related("job")
    return exports


def export_of(opened: OpenFarm, export_id: uuid.UUID) -> Export:
    """Give one export of the open farm."""
    export = exports_of(opened).filter(pk=export_id).first()
    if export is None:
        raise NotFound
    return export


def whole_export_of(opened: OpenFarm, export_id: uuid.UUID) -> Export:
    """Give an export whose file can be fetched.

    Raises
    ------
    Conflict
        It is not written yet, or its job failed.
    Expired
        The file is gone.
    """
    export = export_of(opened, export_id)
    if export.attempt is None:
        if export.job.state == JobState.FAILED:
            raise Conflict(f"The export failed: {export.job.failure} Ask for another one.")
        if export.job.state == JobState.CANCELLED:
            raise Conflict("The export was cancelled. Ask for another one.")
        raise Conflict("The export is not written yet. Follow its job, and fetch the file once it has succeeded.")
    if export.expires_at is None or export.expires_at <= timezone.now():
        raise Expired(f"The file was kept for {KEPT_FOR.days} days and is gone. Ask for another export.")
    return export


def parts_for(caller: Caller, farm_id: uuid.UUID, export: Export) -> Iterator[bytes]:
    """Give the bytes of an export's file part by part, each in a transaction of its own and through the door anew.

    Whoever is shut out of the farm meanwhile gets no further part: the file ends short of the length that was told.
    """
    number = 0
    while True:
        with transaction.atomic():
            enter(caller)
            opened = open_farm(caller, farm_id, Right.MANAGE)
            parts = ExportPart.objects.for_farm(opened.farm).filter(export_id=export.pk, attempt=export.attempt)
            content = parts.filter(number=number).values_list("content", flat=True).first()
        if content is None:
            return
        yield bytes(content)
        number += 1


def carry_out(farm_id: uuid.UUID, job_id: uuid.UUID) -> Iterator[jobs.Progress]:
    """Write the file of one export; begun again, it is written anew as the farm is then."""
    with transaction.atomic():
        open_for_work(farm_id)
        job: Job = Job.objects.for_farm(farm_id).get(pk=job_id)
        export: Export = Export.objects.for_farm(farm_id).get(job_id=job_id)
        ExportPart.objects.for_farm(farm_id).filter(export_id=export.pk, attempt__lt=job.attempts).delete()
    parts = Parts(lambda number, content: _store(export, job.attempts, number, content))
    with snapshot_of(farm_id) as snapshot:
        done = total = 0
        for done, total in write_archive(snapshot, parts):
            yield done, total
    with transaction.atomic():
        open_for_work(farm_id)
        jobs.require_asker(job)
        _finish(export, job.attempts, parts, rows=total // 2, taken_at=snapshot.taken_at)
    yield done, total


def _store(export: Export, attempt: int, number: int, content: bytes) -> None:
    with transaction.atomic():
        open_for_work(export.farm_id)
        ExportPart.objects.create(
            farm_id=export.farm_id, export_id=export.pk, attempt=attempt, number=number, content=content
        )


def _finish(export: Export, attempt: int, parts: Parts, *, rows: int, taken_at: datetime) -> None:
    """Say which parts are the file, unless another attempt was first; and see to its end."""
    now = timezone.now()
    unfinished = Export.objects.for_farm(export.farm_id).filter(pk=export.pk, attempt=None)
    wrote = unfinished.update(
        attempt=attempt, taken_at=taken_at, rows=rows, size=parts.size, sha256=parts.sha256,
        expires_at=now + KEPT_FOR, version=F("version") + 1, changed_at=now,
    )  # fmt: skip
    if not wrote:
        return
    ExportPart.objects.for_farm(export.farm_id).filter(export_id=export.pk).exclude(attempt=attempt).delete()
    kept = Export.objects.for_farm(export.farm_id).filter(expires_at__gt=now).order_by("-expires_at", "-id")
    for older in kept[MOST_KEPT : MOST_KEPT + 100]:
        Export.objects.for_farm(export.farm_id).filter(pk=older.pk).update(expires_at=now, changed_at=now)
    _remove_expired(export.farm_id)
    jobs.queue_for_later(export.farm_id, KIND_OF_REMOVAL, now + KEPT_FOR)


def take_away(farm_id: uuid.UUID, job_id: uuid.UUID) -> None:
    """Remove the parts of an export that came to nothing; the farm is open."""
    unfinished = Export.objects.for_farm(farm_id).filter(job_id=job_id, attempt=None).values("pk")
    ExportPart.objects.for_farm(farm_id).filter(export_id__in=unfinished).delete()


def remove(farm_id: uuid.UUID, _: uuid.UUID) -> Iterator[jobs.Progress]:
    """Remove the bytes of every export of a farm that has expired."""
    with transaction.atomic():
        open_for_work(farm_id)
        removed = _remove_expired(farm_id)
    yield removed, removed


def _remove_expired(farm_id: uuid.UUID) -> int:
    expired = Export.objects.for_farm(farm_id).filter(expires_at__lte=timezone.now()).values("pk")
    removed, _ = ExportPart.objects.for_farm(farm_id).filter(export_id__in=expired).delete()
    return removed


jobs.KINDS[KIND] = carry_out
jobs.RIGHTS[KIND] = Right.MANAGE
jobs.LEFT_BEHIND[KIND] = take_away
jobs.KINDS[KIND_OF_REMOVAL] = remove
