"""Try all that benchmarks ever told of many farms, for whoever runs the machine: whether it tells of one."""

from __future__ import annotations

import uuid
from argparse import ArgumentParser
from typing import Any

import orjson
from django.core.management import BaseCommand, CommandError
from django.db import transaction
from rich.table import Table
from rich.text import Text

from balance.benchmarks.auditing import Audited, audit_program
from balance.benchmarks.models import BenchmarkSnapshot
from records.context import set_context
from records.models import Program, RegisteredFarm
from vineyard.demo.printing import console


class Command(BaseCommand):
    """The privacy audit of benchmarks."""

    help = (
        "Try every snapshot of benchmarks that was ever made: whether a farm's figure follows from what was told, or "
        "is known within ten per cent. What is found names farms; the exit code is 1 if anything was found."
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--program", default="", help="only this program, by its id or its whole name")
        parser.add_argument("--json", action="store_true", help="one JSON object a line")

    def handle(self, *_: Any, **options: Any) -> None:
        farms = _all_farms()
        audited = [each for program in _programs(options["program"]) for each in audit_program(program, farms)]
        if options["json"]:
            for each in audited:
                self.stdout.write(orjson.dumps(_line(each)).decode())
        else:
            _print(audited)
        found = sum(len(each.findings) for each in audited)
        if found:
            raise CommandError(f"Found: {found}. A farm could be seen through; see above.", returncode=1)


def _all_farms() -> list[uuid.UUID]:
    """Give every farm; what each brought is read with that farm alone open."""
    with transaction.atomic():
        set_context(register="on", person=None, farms=None)
        return list(RegisteredFarm.objects.values_list("id", flat=True))


def _programs(told: str) -> list[Program]:
    known = Program.objects.filter(pk__in=BenchmarkSnapshot.objects.values("program_id")).order_by("name")
    if not told:
        return list(known)
    try:
        found = list(Program.objects.filter(pk=uuid.UUID(told)))
    except ValueError:
        found = list(Program.objects.filter(name=told))
    if not found:
        raise CommandError(f"There is no program {told!r}. Say its id or its whole name.")
    return found


def _line(each: Audited) -> dict[str, Any]:
    return {
        "program": str(each.program.pk),
        "seasons": list(each.seasons),
        "measure": each.measure,
        "cells": each.cells,
        "told": each.told,
        "spreads": each.spreads,
        "findings": list(each.findings),
    }


def _print(audited: list[Audited]) -> None:
    out, table = console(), Table()
    for heading in ("program", "seasons", "measure", "cells", "told", "with spread", "found"):
        table.add_column(heading, overflow="fold")
    for each in audited:
        seasons = ", ".join(map(str, each.seasons))
        numbers = map(str, (each.cells, each.told, each.spreads, len(each.findings)))
        table.add_row(*map(Text, (each.program.name, seasons, each.measure, *numbers)))
    out.print(table if audited else "No benchmarks were made yet.")
    for each in audited:
        for finding in each.findings:
            out.print(f"{each.measure}: {finding}", markup=False, highlight=False, soft_wrap=True)
