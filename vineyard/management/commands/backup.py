"""Make a backup that was restored and compared before it is called one."""

from __future__ import annotations

from argparse import ArgumentParser
from pathlib import Path
from typing import Any

import psycopg
from django.core.management import BaseCommand, CommandError

from vineyard.backup import BackupError
from vineyard.backup.dumping import back_up
from vineyard.backup.manifest import manifest_of


class Command(BaseCommand):
    """The backup."""

    help = "Write all records into FILE (and FILE.manifest.json), restore it beside the original and compare."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("file", type=Path, help="the file to write; it must not exist")

    def handle(self, *_: Any, **options: Any) -> None:
        file: Path = options["file"].absolute()
        try:
            manifest = back_up(file, lambda sentence: self.stderr.write(f"· {sentence}"))
        except BackupError as error:
            raise CommandError(str(error)) from error
        except psycopg.Error as error:
            raise CommandError(f"PostgreSQL refused: {error}") from error
        self.stdout.write(
            f"{manifest.contents.rows} rows of {len(manifest.contents.tables)} tables are in {file}, as they were at "
            f"{manifest.made_at}; restored and found equal. Keep {manifest_of(file).name} with it."
        )
