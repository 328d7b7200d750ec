"""List farms for whoever runs the machine: id, name, program, and how much each holds."""

from __future__ import annotations

import uuid
from argparse import ArgumentParser
from typing import Any, Final

from django.core.management import BaseCommand
from django.db import transaction
from django.db.models import Count
from rich.table import Table
from rich.text import Text

from records.context import set_context
from records.models import Block, Membership, RecordChange, RegisteredFarm, Vine
from vineyard.demo.printing import console

MOST_AT_ONCE: Final = 200
_COUNTED: Final[dict[str, Any]] = {
    "people": Membership,
    "blocks": Block,
    "vines": Vine,
    "replaced versions": RecordChange,
}


class Command(BaseCommand):
    """The list of farms."""

    help = f"List farms by name: id, name, program, and how much each holds; {MOST_AT_ONCE} at most."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--name", default="", help="only farms whose name holds this")
        parser.add_argument("--after", default="", help="only farms whose name comes after this one: the next page")

    def handle(self, *_: Any, **options: Any) -> None:
        out = console()
        with transaction.atomic():
            set_context(register="on", person=None, farms=None)
            farms = RegisteredFarm.objects.select_related("program").order_by("name", "id")
            farms = farms.filter(name__icontains=options["name"], name__gt=options["after"])
            found = list(farms[: MOST_AT_ONCE + 1])
            shown = found[:MOST_AT_ONCE]
            counts = _counts([farm.pk for farm in shown])
        table = Table()
        for heading in ("id", "name", "program"):
            table.add_column(heading, overflow="fold")
        for heading in _COUNTED:
            table.add_column(heading, justify="right")
        for farm in shown:
            told = (str(farm.pk), farm.name, farm.program.name if farm.program else "")
            numbers = (str(counts[heading].get(farm.pk, 0)) for heading in _COUNTED)
            table.add_row(*map(Text, (*told, *numbers)))
        out.print(table)
        if len(found) > MOST_AT_ONCE:
            out.print(f"There are more: --after '{shown[-1].name}' goes on.", markup=False)


def _counts(farm_ids: list[uuid.UUID]) -> dict[str, dict[uuid.UUID, int]]:
    """Count in the context of these farms: without it, row-level security shows none of their rows."""
    set_context(farms=farm_ids)
    counted = {}
    for heading, model in _COUNTED.items():
        rows = model.objects.filter(farm_id__in=farm_ids).values("farm_id").order_by()
        counted[heading] = dict(rows.annotate(n=Count("pk")).values_list("farm_id", "n"))
    return counted
