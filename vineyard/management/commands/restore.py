"""Restore a backup and compare it with its manifest."""

from __future__ import annotations

from argparse import ArgumentParser
from pathlib import Path
from typing import Any

import psycopg
from django.core.management import BaseCommand, CommandError

from vineyard.backup import BackupError
from vineyard.backup.restoring import restore


class Command(BaseCommand):
    """The restore."""

    help = "Restore FILE into an empty database (or in place of one: --replace) and compare it with its manifest."
    requires_system_checks: list[str] = []

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("file", type=Path, help="the file that 'backup' wrote, with its manifest beside it")
        parser.add_argument(
            "--replace", action="store_true", help="throw away what the database holds, once the backup is in its place"
        )
        parser.add_argument(
            "--erasures", type=Path, help="a log of erasures that was kept apart: farms erased since the backup"
        )

    def handle(self, *_: Any, **options: Any) -> None:
        kept: Path | None = options["erasures"]
        try:
            erasures = kept.read_bytes().splitlines() if kept else []
            manifest = restore(
                options["file"].absolute(),
                lambda sentence: self.stderr.write(f"· {sentence}"),
                replacing=options["replace"],
                erasures=erasures,
            )
        except OSError as error:
            raise CommandError(f"{error.filename}: {error.strerror}.") from error
        except BackupError as error:
            raise CommandError(str(error)) from error
        except psycopg.Error as error:
            raise CommandError(f"PostgreSQL refused: {error}") from error
        self.stdout.write(
            f"{manifest.contents.rows} rows of {len(manifest.contents.tables)} tables are back, as they were at "
            f"{manifest.made_at}, and found equal."
        )
