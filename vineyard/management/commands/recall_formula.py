"""Recall a formula: on which farms anything was told by it, for whoever runs the program and the machine."""

from __future__ import annotations

import uuid
from argparse import ArgumentParser
from collections.abc import Iterator
from typing import Any, Final

import orjson
from django.core.management import BaseCommand, CommandError
from django.db import transaction
from django.db.models import Q
from rich.table import Table
from rich.text import Text

from balance.recall import TOLD_BY_A_FORMULA, Use, uses_by_farm
from records.context import set_context
from records.models import PruningFormula, RegisteredFarm
from records.services.own_catalogue import OF_A_FARM, OF_A_PROGRAM, SPELLING, named, shared
from vineyard.demo.printing import console

FARMS_AT_ONCE: Final = 200

Told = tuple[RegisteredFarm, dict[str, Use]]


class Command(BaseCommand):
    """The recall."""

    help = "Count, farm by farm, what was told by one version of a formula; names and counts, and nothing of records."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("formula", help="the version as CODE@VERSION, such as american-30-10-lb@1")
        parser.add_argument(
            "--farm", type=uuid.UUID, help=f"only this farm; a code that begins with {OF_A_FARM} needs it"
        )
        parser.add_argument("--json", action="store_true", help="one JSON object a line")

    def handle(self, *_: Any, **options: Any) -> None:
        code, version = _read(options["formula"], options["farm"])
        with transaction.atomic():
            set_context(register="on", person=None, farms=None)
            told = list(_told(code, version, options["farm"]))
        if options["json"]:
            for line in told:
                self.stdout.write(orjson.dumps(_line(options["formula"], line)).decode())
            return
        console().print(_table(told))


def _read(spelling: str, farm: uuid.UUID | None) -> tuple[str, int]:
    """Read code and version.

    Raises
    ------
    CommandError
        It is no version of a formula, or one of many farms that use the same code each for their own.
    """
    read = SPELLING.fullmatch(spelling)
    if read is None or read[2] is None:
        raise CommandError(f"{spelling!r} names no version. Write CODE@VERSION, such as american-30-10-lb@1.")
    if read[1].startswith(OF_A_FARM) and farm is None:
        raise CommandError(f"{read[1]} is a farm's own code, and farms may use the same one. Say which: --farm ID")
    is_shared = not read[1].startswith((OF_A_FARM, OF_A_PROGRAM))
    if is_shared and named(shared(PruningFormula), spelling) is None:
        raise CommandError(f"There is no formula {spelling}. GET /api/v1/formulas lists them.")
    return read[1], int(read[2])


def _told(code: str, version: int, only: uuid.UUID | None) -> Iterator[Told]:
    """Go through the register page by page, each page with its own farms open, and give those that were told any."""
    farms = RegisteredFarm.objects.select_related("program").order_by("name", "id")
    if only is not None:
        farms = farms.filter(pk=only)
    after = Q()
    while page := list(farms.filter(after)[:FARMS_AT_ONCE]):
        set_context(farms=[farm.pk for farm in page])
        uses = uses_by_farm([farm.pk for farm in page], code, version)
        set_context(farms=None)
        yield from ((farm, uses[farm.pk]) for farm in page if farm.pk in uses)
        last = page[-1]
        after = Q(name__gt=last.name) | Q(name=last.name, pk__gt=last.pk)


def _line(formula: str, told: Told) -> dict[str, Any]:
    farm, uses = told
    return {
        "formula": formula,
        "farm": str(farm.pk),
        "name": farm.name,
        "program": farm.program.name if farm.program else None,
        **{kind: uses[kind].count if kind in uses else 0 for kind in TOLD_BY_A_FORMULA},
        "last_told_at": max(use.last_told_at for use in uses.values()).isoformat(),
    }


def _table(told: list[Told]) -> Table:
    table = Table()
    for heading in ("id", "name", "program"):
        table.add_column(heading, overflow="fold")
    for heading in (*TOLD_BY_A_FORMULA, "last told"):
        table.add_column(heading, justify="right")
    for each in told:
        line = _line("", each)
        cells = (line["farm"], line["name"], line["program"] or "", *(line[kind] for kind in TOLD_BY_A_FORMULA))
        table.add_row(*(Text(str(cell)) for cell in (*cells, line["last_told_at"])))
    return table
