"""Make a season report of a program here and now, for a command."""

from __future__ import annotations

import time
import uuid
from typing import Any, BinaryIO

from django.core.management import CommandError
from django.db import transaction
from rich.console import Console
from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn

from balance.models import ProgramReport
from balance.program_work.models import UNFINISHED
from balance.reports.programs.asking import Wanted, ask_for_program_report, file_of, report_of
from balance.reports.programs.making import run
from records.access import Caller, enter
from records.models import Person, Program, ProgramMembership
from records.models.jobs import JobState


def make_of_program(out: Console, options: dict[str, Any], files: dict[str, BinaryIO]) -> None:
    """Make the report in the name of one of the program's leads, and write its forms."""
    program = _program(options["farm"])
    caller = Caller(_lead(program))
    with transaction.atomic():
        enter(caller)
        asked = ask_for_program_report(caller, program, Wanted(options["season"], options["units"]))
    report = _carried_out(out, program, asked.pk)
    if report.state != JobState.SUCCEEDED:
        raise CommandError(report.failure or f"The report was {report.state}.")
    for form, file in files.items():
        file.write(bytes(file_of(program, report.pk, form).content))
    taken_at = f"{report.taken_at:%Y-%m-%d %H:%M:%S} UTC"
    told = f"{program.name}, season {report.season}, {report.get_units_display()}, as it was at {taken_at}."
    out.print(told, markup=False, highlight=False)
    out.print(f"Check code {report.check_code}", markup=False, highlight=False, soft_wrap=True)


def _carried_out(out: Console, program: Program, report_id: uuid.UUID) -> ProgramReport:
    """Do the work, or wait while a worker has it, and give the report once it is over."""
    bars = (TextColumn("Making the report"), BarColumn(), MofNCompleteColumn())
    with Progress(*bars, console=out, disable=not out.is_terminal) as bar:
        task = bar.add_task("", total=None)
        while True:
            run(report_id, lambda done, total: bar.update(task, completed=done, total=total))
            report = report_of(program, report_id)
            if report.state not in UNFINISHED:
                return report
            time.sleep(0.5)  # a worker has it, or died with it: see balance.program_work.leases


def _program(told: str) -> Program:
    """Give the program that is told by its id or its whole name, which is its alone."""
    try:
        found = Program.objects.filter(pk=uuid.UUID(told)).first()
    except ValueError:
        found = Program.objects.filter(name=told).first()
    if found is None:
        raise CommandError(f"There is no program {told!r}. Say its id or its whole name.")
    return found


def _lead(program: Program) -> Person:
    leads = ProgramMembership.objects.filter(program=program, person__is_active=True).select_related("person")
    first = leads.order_by("id").first()
    if first is None:
        raise CommandError("The program has no lead who could ask for a report.")
    return first.person
