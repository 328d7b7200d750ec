"""The job that makes a report: read one point in time, compose the document, render its forms, and say it is done.

It may be carried out more than once, by several workers, one of which was thought dead; what the first of them says is
the report, and what another attempt left behind is taken away.
"""

from __future__ import annotations

import hashlib
import uuid
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime
from typing import Any, Final

from django.conf import settings
from django.db import transaction

from balance.models import Report, ReportFile, ReportFormula
from balance.reports import announcing
from balance.reports.asking import KIND
from balance.reports.composing import Composed, compose, compose_block
from balance.reports.document import FarmReport, as_json
from balance.reports.quantities import units_of
from balance.reports.reading import blocks_of, reading_at, this_moment
from balance.reports.rendering import FORMS
from balance.reports.sources import formulas_of
from records.access import open_for_work
from records.errors import NotValid
from records.models import Job, Person, PruningFormula
from records.services import jobs

_NOBODY: Final = "Whoever asked for the report is not known any more. Ask for another one."


@dataclass(frozen=True)
class _Made:
    """What a report says, what it rests on, and the exact moment, of which it says the second."""

    said: FarmReport
    formulas: list[PruningFormula]
    taken_at: datetime


def carry_out(farm_id: uuid.UUID, job_id: uuid.UUID) -> Iterator[jobs.Progress]:
    """Make one report; gives how many blocks and forms are done, of how many."""
    with transaction.atomic():
        open_for_work(farm_id)
        job: Job = Job.objects.for_farm(farm_id).select_related("asked_by").get(pk=job_id)
        asked: Report = Report.objects.for_farm(farm_id).defer("document").get(job_id=job_id)
    if job.asked_by is None:
        raise NotValid(_NOBODY)
    if asked.attempt is not None:
        return
    made: _Made | None = None
    done = total = 0
    for done, total, made in _composed(farm_id, job.asked_by, asked):  # noqa: B007 - the last one counts
        yield done, total + len(FORMS)
    if made is None:
        raise NotValid("The report came to nothing.")
    document = as_json(made.said)
    for form, rendered in FORMS.items():
        _keep(farm_id, asked, job.attempts, form, rendered.render(document))
        done += 1
        yield done, total + len(FORMS)
    with transaction.atomic():
        open_for_work(farm_id)
        jobs.require_asker(job)
        _finish(asked, job.attempts, made, document)


def _composed(farm_id: uuid.UUID, person: Person, asked: Report) -> Iterator[tuple[int, int, _Made | None]]:
    """Compose block by block, all at one moment; gives how far it is, and at the end what came of it."""
    units, version = units_of(asked.units), str(settings.SPECTACULAR_SETTINGS["VERSION"])
    with this_moment() as moment:
        with reading_at(moment, farm_id, person, asked.season, units) as reading:
            blocks = blocks_of(reading)
        parts: list[Composed] = []
        for block in blocks:
            with reading_at(moment, farm_id, person, asked.season, units) as reading:
                parts.append(compose_block(reading, block))
            yield len(parts), len(blocks), None
        with reading_at(moment, farm_id, person, asked.season, units) as reading:
            formulas = formulas_of(reading)
            made = _Made(compose(reading, parts, formulas, version), formulas, reading.taken_at)
    yield len(blocks), len(blocks), made


def _keep(farm_id: uuid.UUID, report: Report, attempt: int, form: str, content: bytes) -> None:
    with transaction.atomic():
        open_for_work(farm_id)
        ReportFile.objects.create(
            farm_id=farm_id, report_id=report.pk, attempt=attempt, form=form, content=content, size=len(content),
            sha256=hashlib.sha256(content).hexdigest(),
        )  # fmt: skip


def _finish(report: Report, attempt: int, made: _Made, document: dict[str, Any]) -> None:
    """Say that this attempt's files are the report, unless another attempt was first; take the others' away."""
    unfinished = Report.objects.for_farm(report.farm_id).filter(pk=report.pk, attempt=None)
    mine = unfinished.update(
        attempt=attempt, taken_at=made.taken_at, document=document, check_code=made.said.check_code,
        made_by_version=made.said.made_by,
    )  # fmt: skip
    files = ReportFile.objects.for_farm(report.farm_id).filter(report_id=report.pk)
    if not mine:
        files.filter(attempt=attempt).delete()
        return
    files.exclude(attempt=attempt).delete()
    ReportFormula.objects.bulk_create(
        ReportFormula(farm_id=report.farm_id, report_id=report.pk, formula=formula) for formula in made.formulas
    )
    announcing.report_ready(report)


def take_away(farm_id: uuid.UUID, job_id: uuid.UUID) -> None:
    """Remove the files of a report that came to nothing; the farm is open."""
    unfinished = Report.objects.for_farm(farm_id).filter(job_id=job_id, attempt=None).values("pk")
    ReportFile.objects.for_farm(farm_id).filter(report_id__in=unfinished).delete()


jobs.KINDS[KIND] = carry_out
jobs.LEFT_BEHIND[KIND] = take_away
