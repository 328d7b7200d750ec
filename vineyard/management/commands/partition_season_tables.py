"""Split the tables of annual records by season, or show how."""

from __future__ import annotations

from argparse import ArgumentParser
from datetime import UTC, datetime
from typing import Any

from django.conf import settings
from django.core.management.base import BaseCommand, CommandError
from django.db import transaction

from records.kinds import KINDS
from records.partitioning import conversion, partition
from vineyard.database_owner import as_owner


class Command(BaseCommand):
    """``manage.py partition_season_tables [TABLE…] [--dry-run]``."""

    help = (
        "Split the tables of annual records by season: what stands becomes the first partition, later seasons get one "
        "each. See 'Growing' in DEVELOPERS.md for when it pays. Stop the service first, and make a backup."
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("tables", nargs="*", metavar="TABLE", help="kinds of record; all of them by default")
        parser.add_argument(
            "--first",
            type=int,
            default=datetime.now(UTC).year + 2,
            help="the first season that gets a partition of its own; the year after next by default",
        )
        parser.add_argument("--open", type=int, metavar="SEASON", help="open one more season of tables that are split")
        parser.add_argument("--dry-run", action="store_true", help="print the SQL and change nothing")

    def handle(self, *args: Any, **options: Any) -> None:  # noqa: ARG002
        tables = options["tables"] or list(KINDS)
        unknown = sorted(set(tables) - set(KINDS))
        if unknown:
            raise CommandError(f"No kind of record is called {', '.join(unknown)}. There are {', '.join(KINDS)}.")
        with as_owner() as owner, transaction.atomic():
            for table in tables:
                with owner.cursor() as cursor:
                    cursor.execute("SELECT relkind FROM pg_class WHERE oid = %s::regclass", [table])
                    split = cursor.fetchone() == ("p",)
                    if split != bool(options["open"]):
                        raise CommandError(f"{table} is {'split already' if split else 'not split yet'}.")
                    sql = (
                        partition(table, options["open"])
                        if split
                        else conversion(table, options["first"], settings.SERVING_ROLE, owner)
                    )
                    self.stdout.write("".join(f"{statement};\n" for statement in sql))
                    for statement in [] if options["dry_run"] else sql:
                        cursor.execute(statement)
