"""Ask for a report, find it again, and fetch its files."""

from __future__ import annotations

import json
import uuid
from typing import Any, Final

from django.db.models import F, Func, JSONField, QuerySet, Value

from balance.models import Report, ReportFile
from records.access import OpenFarm, Right, hold
from records.errors import Conflict, NotFound
from records.models.jobs import JobState
from records.services import jobs
from records.services.storing import Stored, create_once

KIND: Final = "season_report"
UNFINISHED: Final = (JobState.QUEUED, JobState.RUNNING)
#: Where a chart stands in a document (SQL/JSON path).
_CHART: Final = "$.blocks[*] ? (@.block == $block).sections[*].charts[*] ? (@.code == $code).spec"


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


def require_made(report: Report) -> None:
    """Refuse a report of which there is nothing to show.

    Raises
    ------
    Conflict
        It is not made yet, or its job failed.
    """
    if report.attempt is not None:
        return
    if report.job.state in UNFINISHED:
        raise Conflict("The report is not made yet. Follow its job, and fetch the file once it has succeeded.")
    raise Conflict(f"The report was not made: {report.job.failure or report.job.state}. Ask for another one.")


def chart_of(opened: OpenFarm, report_id: uuid.UUID, block_id: uuid.UUID, code: str) -> dict[str, Any]:
    """Give the specification of one chart of a report; the database picks it out of the document.

    Raises
    ------
    NotFound, Conflict
        The report has no such chart, or is not made.
    """
    require_made(report_of(opened, report_id))
    wanted = Func(
        F("document"),
        Func(Value(_CHART), template="%(expressions)s::jsonpath"),
        Func(Value(json.dumps({"block": str(block_id), "code": code})), template="%(expressions)s::jsonb"),
        function="jsonb_path_query_first",
        output_field=JSONField(),
    )
    reports = Report.objects.for_farm(opened.farm).filter(pk=report_id)
    found: dict[str, Any] | None = reports.annotate(chart=wanted).values_list("chart", flat=True).first()
    if found is None:
        raise NotFound
    return found


def file_of(opened: OpenFarm, report_id: uuid.UUID, form: str) -> ReportFile:
    """Give one file of a report.

    Raises
    ------
    Conflict
        It is not made yet, or its job failed.
    """
    report = report_of(opened, report_id)
    require_made(report)
    files = ReportFile.objects.for_farm(opened.farm).filter(report_id=report.pk, attempt=report.attempt, form=form)
    found: ReportFile | None = files.first()
    if found is None:
        raise NotFound
    return found
