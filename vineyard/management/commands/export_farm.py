"""Take everything out of a farm into a file, from the command line."""

from __future__ import annotations

import os
import uuid
from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.core.management import BaseCommand, CommandError
from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn

from balance.formulas.counting import counted
from records.errors import Refusal
from records.exporting.archive import Parts, write_archive
from records.exporting.snapshot import snapshot_of
from vineyard.demo.printing import console


class Command(BaseCommand):
    """The export."""

    help = (
        "Write everything that a farm owns into one ZIP, as it is at one point in time: NDJSON, CSV and a README.txt."
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("farm", type=uuid.UUID, help="the farm's id, as list_farms shows it")
        parser.add_argument("file", type=Path, help="where to write; a file that is there is not overwritten")

    def handle(self, *_: Any, **options: Any) -> None:
        out, file = console(), options["file"]
        try:
            descriptor = os.open(file, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)  # a farm's records, for one reader
        except OSError as error:
            raise CommandError(f"{file}: {error.strerror}.") from error
        try:
            with os.fdopen(descriptor, "wb") as opened:
                parts = Parts(lambda _, content: opened.write(content))
                total = self._write(options["farm"], parts)
        except BaseException as error:
            file.unlink(missing_ok=True)  # half a farm is worse than none
            if isinstance(error, Refusal):
                raise CommandError(error.detail) from error
            raise
        out.print(
            f"{file}: {counted(total // 2, 'row')}, {parts.size} bytes, SHA-256 {parts.sha256}",
            markup=False,
            soft_wrap=True,
        )

    def _write(self, farm_id: uuid.UUID, parts: Parts) -> int:
        done = total = 0
        words = TextColumn("· Writing rows")
        out = console()
        with (
            snapshot_of(farm_id) as snapshot,
            Progress(words, BarColumn(), MofNCompleteColumn(), console=out, disable=not out.is_terminal) as bar,
        ):
            task = bar.add_task("")
            for done, total in write_archive(snapshot, parts):
                bar.update(task, completed=done, total=total)
        return total
