"""Ask for a season report of a program, find it again, and fetch its files."""

from __future__ import annotations

import uuid
from dataclasses import dataclass
from typing import Final

from django.db import connection, transaction
from django.db.models import QuerySet

from balance.models import ProgramReport, ProgramReportFile
from records.access import Caller
from records.errors import Conflict, IdUnavailable, NotFound
from records.models import Program
from records.models.jobs import JobState
from records.services.storing import digest_of
from records.waking import wake_for

TASK: Final = "balance.reports.tasks.make_program_report"
UNFINISHED: Final = (JobState.QUEUED, JobState.RUNNING)
_NOT_MADE: Final = "The report is not made yet. Ask where it stands, and fetch the file once it has succeeded."
_IN_USE: Final = "This id cannot be used: it is taken by something else that was asked for. Use a new id."


@dataclass(frozen=True)
class Wanted:
    """What a lead asks for; the id is the client's own, if any."""

    season: int
    units: str
    report_id: uuid.UUID | None = None


def ask_for_program_report(caller: Caller, program: Program, wanted: Wanted) -> ProgramReport:
    """Note that a report is to be made; one of the same season and units at a time.

    While one is being made, asking again gives that one; an id of the client's own gives the same for ever.

    Raises
    ------
    IdUnavailable
        The id is taken by something else.
    Conflict
        The id is new, and a report of the same season and units is being made under another.
    """
    one_after_the_other(program)
    digest = digest_of({"program": str(program.pk), "season": wanted.season, "units": wanted.units})
    known = ProgramReport.objects.defer("document").filter(pk=wanted.report_id).first() if wanted.report_id else None
    if known is not None:
        if known.created_digest != digest:
            raise IdUnavailable(_IN_USE)
        return known
    running = reports_of(program).filter(season=wanted.season, units=wanted.units, state__in=UNFINISHED).first()
    if running is not None and wanted.report_id is None:
        return running
    if running is not None:
        raise Conflict(
            f"A report of this season and these units is being made: {running.pk}. Follow that one, or ask once it is.",
            retry_after="2",
        )
    return _noted(caller, program, wanted, digest)


def _noted(caller: Caller, program: Program, wanted: Wanted, digest: str) -> ProgramReport:
    own_id = {} if wanted.report_id is None else {"id": wanted.report_id}
    report = ProgramReport.objects.create(
        program=program, season=wanted.season, units=wanted.units, asked_by=caller.person,
        request_id=caller.request_id, created_digest=digest, **own_id,
    )  # fmt: skip
    transaction.on_commit(lambda: wake_for(TASK, report.pk))
    return reports_of(program).get(pk=report.pk)


def one_after_the_other(program: Program) -> None:
    """Let whoever asks at once for the same program wait, so that they ask for one report."""
    with connection.cursor() as cursor:
        cursor.execute("SELECT pg_advisory_xact_lock(hashtextextended(%s, 0))", [f"report of program {program.pk}"])


def reports_of(program: Program) -> QuerySet[ProgramReport]:
    """Give the reports of a program, without what they say."""
    return ProgramReport.objects.filter(program=program).defer("document")


def report_of(program: Program, report_id: uuid.UUID) -> ProgramReport:
    """Give one report of a program."""
    report = reports_of(program).filter(pk=report_id).first()
    if report is None:
        raise NotFound
    return report


def file_of(program: Program, report_id: uuid.UUID, form: str) -> ProgramReportFile:
    """Give one file of a report.

    Raises
    ------
    Conflict
        It is not made yet, or could not be made.
    """
    report = report_of(program, report_id)
    if report.state in UNFINISHED:
        raise Conflict(_NOT_MADE, retry_after="2")
    if report.state != JobState.SUCCEEDED:
        raise Conflict(f"The report was not made: {report.failure or report.state}")
    found = ProgramReportFile.objects.filter(report=report, attempt=report.attempts, form=form).first()
    if found is None:
        raise NotFound
    return found
