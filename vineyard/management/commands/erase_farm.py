"""Erase a farm from the command line; keep the log of erasures, and replay it after a restore."""

from __future__ import annotations

import sys
import uuid
from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.core.management import BaseCommand, CommandError
from django.db import transaction

from balance.formulas.counting import counted
from records.errors import Refusal
from records.services import erasure


class Command(BaseCommand):
    """The erasure."""

    help = (
        "Erase a farm with everything it owns, history included; it cannot be undone, so take it out first "
        "(export_farm). --log prints the log of erasures; --replay erases again what a restore brought back."
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("farm", type=uuid.UUID, nargs="?", help="the farm's id, as list_farms shows it")
        parser.add_argument("--name", help="the farm's name, as confirmation; asked for where it is not given")
        parser.add_argument("--log", action="store_true", help="print the log, to be kept apart from the backups")
        parser.add_argument(
            "--replay", nargs="?", const="", metavar="FILE", help="erase again every farm of the log, and of this file"
        )

    def handle(self, *_: Any, **options: Any) -> None:
        chosen = [options["farm"] is not None, options["log"], options["replay"] is not None]
        if sum(chosen) != 1:
            raise CommandError("Name a farm, or give --log or --replay: one of the three.")
        try:
            if options["log"]:
                for line in erasure.log_lines():
                    self.stdout.write(line.decode(), ending="")
            elif options["replay"] is not None:
                self._replay(options["replay"])
            else:
                self._erase(options["farm"], options["name"])
        except Refusal as refusal:
            raise CommandError(refusal.detail) from refusal

    def _replay(self, file: str) -> None:
        try:
            lines = Path(file).read_bytes().splitlines() if file else []
        except OSError as error:
            raise CommandError(f"{file}: {error.strerror}.") from error
        again = erasure.replay(lines)
        for erased in again:
            self.stdout.write(f"Erased again: {erased.farm_id}, {counted(sum(erased.counts.values()), 'row')}.")
        self.stdout.write(f"{counted(len(again), 'farm')} had come back.")

    def _erase(self, farm_id: uuid.UUID, name: str | None) -> None:
        if name is None and not sys.stdin.isatty():
            raise CommandError("Give --name with the farm's name as confirmation.")
        typed = name if name is not None else input("Type the farm's name to erase it for good: ")
        with transaction.atomic():
            line = erasure.erase_as_operator(farm_id, typed)
        self.stdout.write(
            f"Erased {farm_id}: {counted(sum(line.counts.values()), 'row')} of {counted(len(line.counts), 'table')}."
        )
