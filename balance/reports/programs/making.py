"""Make a season report of a program: count farm by farm at one moment, release what may be told, render, finish once.

What is kept of a season is made once: every later report of it says the same numbers, in whichever units, because two
that differ by one farm would show that farm by subtraction.  Where a farm that was counted has taken its consent back
since, no later one is made.
"""

from __future__ import annotations

import hashlib
import uuid
from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime
from typing import Final

from django.conf import settings
from django.db import transaction
from django.db.models.functions import Now

from balance.models import ProgramReport, ProgramReportFile
from balance.program_work.asking import one_after_the_other
from balance.program_work.consenting import consents_held, note_that_counted
from balance.program_work.leading import asker_of, go_on, still_led
from balance.program_work.leases import Held, carry_out
from balance.program_work.one_telling import refuse_beside_benchmarks
from balance.reports.programs.composing import compose
from balance.reports.programs.consenting import left_since, path_of
from balance.reports.programs.contributions import Counting, sums_of_farms
from balance.reports.programs.document import ProgramDocument, Released, as_json
from balance.reports.programs.releasing import release_season
from balance.reports.programs.rendering import FORMS
from balance.reports.programs.sums import FarmSums
from balance.reports.reading import this_moment
from records.errors import NotValid
from records.models import Purpose
from records.models.jobs import JobState

_LEFT: Final = (
    "A farm that was counted in the report of this season made at {made} has taken its consent back. A new report "
    "beside that one would show the farm by subtraction, so none is made. The earlier report stands."
)


@dataclass(frozen=True)
class _Counted:
    """What a season came to: released, at which moment, and of which farms; none where an earlier report said it."""

    released: Released
    taken_at: datetime
    farms: tuple[FarmSums, ...]
    earlier: uuid.UUID | None = None


class _Otherwise(Exception):
    """Between counting and telling, another report of the season was finished."""


def run(report_id: uuid.UUID, watch: Callable[[int, int], object] = lambda *_: None) -> None:
    """Take a report up and make it; nothing happens where another worker holds it or it is finished.

    ``watch`` is told how far the work is: farms and forms.
    """
    carry_out(ProgramReport, report_id, _make, watch)


def _make(held: Held) -> None:
    report = ProgramReport.objects.select_related("program", "asked_by").get(pk=held.work_id)
    finished = False
    while not finished:
        counted = _counted(held, report)
        finished = _told(held, report, counted)


def _counted(held: Held, report: ProgramReport) -> _Counted:
    """Count the farms, unless an earlier report of the season says what there is to say."""
    earlier = _earlier(report)
    if earlier is not None and earlier.document is not None and earlier.taken_at is not None:
        if left_since(report, earlier):
            raise NotValid(_LEFT.format(made=f"{earlier.taken_at:%Y-%m-%d %H:%M} UTC"))
        return _Counted(Released.of(earlier.document["released"]), earlier.taken_at, (), earlier.pk)
    refuse_beside_benchmarks(report.program_id, report.season)
    farms: tuple[FarmSums, ...] = ()
    with this_moment() as moment:
        counting = Counting(moment, report.program_id, asker_of(report), report.season)
        for done, total, read in sums_of_farms(counting):
            go_on(held, report, done, total + len(FORMS))
            farms = read
        taken_at = moment.taken_at
    return _Counted(release_season(farms, report.season), taken_at, farms)


def _earlier(report: ProgramReport) -> ProgramReport | None:
    """Give the report of this season that was made before and shows anything."""
    made = ProgramReport.objects.filter(
        program=report.program_id, season=report.season, state=JobState.SUCCEEDED
    ).exclude(pk=report.pk)
    return made.exclude(document__released__farms="").order_by("finished_at", "id").first()


def _told(held: Held, report: ProgramReport, counted: _Counted) -> bool:
    """Render what was counted and keep it; where farms took their consent back meanwhile, without them.

    Gives False where another report of the season was finished first, so that this one has to say the same.
    """
    while True:
        files = _rendered(held, report, counted)
        try:
            gone = _finish(held, report, counted, *files)
        except _Otherwise:
            return False
        if not gone:
            return True
        left = tuple(farm for farm in counted.farms if farm.farm not in gone)
        counted = _Counted(release_season(left, report.season), counted.taken_at, left)


def _rendered(held: Held, report: ProgramReport, counted: _Counted) -> tuple[ProgramDocument, dict[str, bytes]]:
    version = str(settings.SPECTACULAR_SETTINGS["VERSION"])
    said = compose(report, counted.released, counted.taken_at, version)
    document = as_json(said)
    files = {}
    for form, rendered in FORMS.items():
        files[form] = rendered.render(document)
        go_on(held, report, len(counted.farms) + len(files), len(counted.farms) + len(FORMS))
    return said, files


def _finish(
    held: Held, report: ProgramReport, counted: _Counted, said: ProgramDocument, files: dict[str, bytes]
) -> set[uuid.UUID]:
    """Write everything in one transaction; where consents have ended, write nothing and give those farms.

    Consents are held until the transaction ends: whoever takes one back waits for it, and everything after counts.
    """
    with transaction.atomic():
        held.renew()
        still_led(report)
        one_after_the_other(report.program)
        earlier = _earlier(report)
        if earlier is None:
            refuse_beside_benchmarks(report.program_id, report.season)
        if (earlier.pk if earlier else None) != counted.earlier or (earlier and left_since(report, earlier)):
            raise _Otherwise
        consents = consents_held(report, [farm.farm for farm in counted.farms], Purpose.SUMMARIES)
        gone = {farm.farm for farm in counted.farms} - consents.keys()
        if not gone:
            _write(held, counted, said, files)
            note_that_counted(report, consents.values(), path_of(report))
        return gone


def _write(held: Held, counted: _Counted, said: ProgramDocument, files: dict[str, bytes]) -> None:
    ProgramReportFile.objects.bulk_create(
        ProgramReportFile(
            report_id=held.work_id, attempt=held.attempt, form=form, content=content, size=len(content),
            sha256=hashlib.sha256(content).hexdigest(),
        )
        for form, content in files.items()
    )  # fmt: skip
    held.write(
        state=JobState.SUCCEEDED, failure="", finished_at=Now(), taken_at=counted.taken_at, document=as_json(said),
        check_code=said.check_code, made_by_version=said.made_by,
    )  # fmt: skip
