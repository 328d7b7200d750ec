"""Sum up every season of every block anew, farm by farm, for whoever runs the machine."""

from __future__ import annotations

import uuid
from argparse import ArgumentParser
from typing import Any

from django.core.management import BaseCommand
from django.db import transaction

from balance.formulas.counting import counted
from balance.summaries.keeping import rebuild
from records.context import set_context
from vineyard.registered_farms import registered_farms


class Command(BaseCommand):
    """The rebuilding."""

    help = (
        "Sum up every season of every block anew from its records, each farm in a transaction of its own: after the "
        "rule that sums up was changed, or where check_summaries found something kept otherwise."
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--farm", type=uuid.UUID, help="only this farm, by its id as list_farms shows it")

    def handle(self, *_: Any, **options: Any) -> None:
        farms = seasons = 0
        for farm in registered_farms(options["farm"]):
            with transaction.atomic():
                set_context(farms=[farm.pk], person=None)
                rebuilt = rebuild(farm.pk)
            farms, seasons = farms + 1, seasons + rebuilt
            self.stdout.write(f"{farm.pk}  {farm.name}: {counted(rebuilt, 'season')} of blocks summed up.")
        self.stdout.write(f"{counted(farms, 'farm')}, {counted(seasons, 'season')} of blocks.")
