"""Ask for a season report of a program, find it again, and fetch its files."""

from __future__ import annotations

import uuid
from dataclasses import dataclass
from typing import Final

from django.db.models import QuerySet

from balance.models import ProgramReport, ProgramReportFile
from balance.program_work.asking import ask_for
from balance.program_work.leases import TASKS
from balance.program_work.models import UNFINISHED
from records.access import Caller
from records.errors import Conflict, NotFound
from records.models import Program
from records.models.jobs import JobState

TASK: Final = "balance.reports.tasks.make_program_report"
TASKS[ProgramReport] = TASK
_NOT_MADE: Final = "The report is not made yet. Ask where it stands, and fetch the file once it has succeeded."


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
    what = {"season": wanted.season, "units": wanted.units}
    return report_of(program, ask_for(ProgramReport, caller, program, what, wanted.report_id))


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
