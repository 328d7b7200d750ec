"""Ask for a report, find it again, and fetch its files."""

from __future__ import annotations

import uuid
from typing import Final

from django.db.models import QuerySet

from balance.models import Report, ReportFile
from records.access import OpenFarm, Right, hold
from records.errors import Conflict, NotFound
from records.models.jobs import JobState
from records.services import jobs
from records.services.storing import Stored, create_once

KIND: Final = "season_report"
UNFINISHED: Final = (JobState.QUEUED, JobState.RUNNING)


def ask_for_report(
    opened: OpenFarm, report_id: uuid.UUID | None, season: int, units: str, *, scheduled: bool = False
) -> Stored[Report]:
    """Note that a report is to be made; while one of the same season and units is being made, that one is given.

    Raises
    ------
    IdInUse
        The id is known, with other content.
    """
    opened.require(Right.READ)
    hold(opened)  # who asks at once asks for one
    if report_id is None:
        running = reports_of(opened).filter(season=season, units=units, job__state__in=UNFINISHED).first()
        if running is not None:
            return Stored(running, created=False)
    known = reports_of(opened).filter(pk=report_id).first() if report_id else None
    job = known.job if known else jobs.queue_job(opened, KIND)
    said = {"season": season, "units": units, "scheduled": scheduled}
    return create_once(Report, opened.farm, report_id, said, provenance={"job_id": job.pk})


def reports_of(opened: OpenFarm) -> QuerySet[Report]:
    """Give the reports of the open farm, each with its job and without what it says."""
    reports: QuerySet[Report] = Report.objects.for_farm(opened.farm).select_related("job").defer("document")
    return reports


def report_of(opened: OpenFarm, report_id: uuid.UUID) -> Report:
    """Give one report of the open farm."""
    report = reports_of(opened).filter(pk=report_id).first()
    if report is None:
        raise NotFound
    return report


def file_of(opened: OpenFarm, report_id: uuid.UUID, form: str) -> ReportFile:
    """Give one file of a report.

    Raises
    ------
    Conflict
        It is not made yet, or its job failed.
    """
    report = report_of(opened, report_id)
    if report.attempt is None:
        if report.job.state in UNFINISHED:
            raise Conflict("The report is not made yet. Follow its job, and fetch the file once it has succeeded.")
        raise Conflict(f"The report was not made: {report.job.failure or report.job.state}. Ask for another one.")
    files = ReportFile.objects.for_farm(opened.farm).filter(report_id=report.pk, attempt=report.attempt, form=form)
    found: ReportFile | None = files.first()
    if found is None:
        raise NotFound
    return found
