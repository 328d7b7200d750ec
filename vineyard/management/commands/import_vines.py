"""Take in a file of vines from the command line, and show what became of every line."""

from __future__ import annotations

import csv
import json
import uuid
from argparse import ArgumentParser
from collections.abc import Iterator
from pathlib import Path
from typing import Any, Final, cast

from django.core.management import BaseCommand, CommandError
from django.db import transaction
from rich.console import Console
from rich.table import Table
from rich.text import Text

from balance.blocks import targets_of_block
from balance.formulas.counting import counted
from balance.formulas.statistics import summarise
from records.access import Caller, OpenFarm, Right, enter, farms_of, open_farm
from records.errors import Refusal
from records.imports.checking import number_of
from records.imports.column_maps import ColumnMap, map_for, read_map
from records.imports.reading import read_table
from records.models import Import, ImportRow, Person
from records.models.jobs import JobState
from records.services import imports
from records.services.farms import create_farm
from records.services.vineyards import block_of
from vineyard.carrying_out import UNFINISHED, carry_out_here
from vineyard.demo.printing import console
from vineyard.starting import prepare_database

IMPORTER: Final = "importer@localhost.example"
SHOWN: Final = 20
_RISKY: Final = ("=", "+", "-", "@", "\t", "\r")


class Command(BaseCommand):
    """The import."""

    help = "Take in a CSV file of vines: good lines in, every doubtful value named, nothing lost, safe to repeat."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("file", type=Path, help="the CSV file")
        parser.add_argument("--farm", help="name or id of the farm; without it, the one that the map names")
        parser.add_argument("--block", default="", help="name of the block; made if the farm has none")
        parser.add_argument("--season", type=int, help="harvest year that the winter belongs to")
        parser.add_argument("--map", type=Path, help="a column map as JSON; without it, the shipped one that fits")
        parser.add_argument("--all-findings", action="store_true", help=f"show every finding, not the first {SHOWN}")
        parser.add_argument("--report", type=Path, help="write every finding to this CSV file")

    def handle(self, *_: Any, **options: Any) -> None:
        out = console()
        prepare_database(lambda sentence: out.print(f"· {sentence}", style="dim"))
        try:
            self._take_in(out, options)
        except OSError as error:
            raise CommandError(f"{error.filename or options['file']}: {error.strerror}.") from error
        except Refusal as refusal:
            raise CommandError(refusal.detail) from refusal

    def _take_in(self, out: Console, options: dict[str, Any]) -> None:
        content = options["file"].read_bytes()
        column_map = _map(options["map"], content)
        caller = Caller(_importer())
        farm_id = _farm(caller, options["farm"] or column_map.farm.get("name") or options["file"].stem, column_map)
        request = imports.Request(options["file"].name, content, column_map, options["block"], options["season"])
        with transaction.atomic():
            asked = imports.ask_for_import(_open(caller, farm_id), request)
        _carry_out(out, asked)
        with transaction.atomic():
            self._report(out, _open(caller, farm_id), asked.imported.pk, options)

    def _report(self, out: Console, opened: OpenFarm, import_id: Any, options: dict[str, Any]) -> None:
        imported = imports.import_of(opened, import_id)
        if imported.job.state == JobState.FAILED:
            raise CommandError(imported.job.failure)
        if imported.job.state == JobState.CANCELLED:
            raise CommandError("The import was cancelled. Lines that it had stored by then stay; run it again.")
        found = list(_findings(opened, imported))
        _print_counts(out, imported, len(found))
        _print_findings(out, found if options["all_findings"] else found[:SHOWN], len(found))
        if options["report"]:
            _write_report(options["report"], found)
            out.print(f"All {len(found)} findings are in {options['report']}.", markup=False)
        _print_statistics(out, opened, imported)


def _map(file: Path | None, content: bytes) -> ColumnMap:
    if file is None:
        return map_for(read_table(content).headings, imports.column_maps())
    try:
        return read_map(json.loads(file.read_text(encoding="utf-8")))
    except ValueError as error:
        raise CommandError(f"{file} is not JSON: {error}") from error


def _importer() -> Person:
    """Give the person in whose name files are taken in here; nobody can log in as them, and they have no key."""
    known = Person.objects.filter(email=IMPORTER).first()
    return known or Person.objects.create_user(IMPORTER, "Importer on this machine")


def _farm(caller: Caller, told: str, column_map: ColumnMap) -> uuid.UUID:
    """Give the importer's farm of this name or id; a name that is new makes one, as the column map describes it."""
    with transaction.atomic():
        enter(caller)
        by_id = _as_id(told)
        farms = farms_of(caller)
        known = (farms.filter(pk=by_id) if by_id else farms.filter(name=told)).first()
        if known is None and by_id:
            raise CommandError(f"{IMPORTER} has no part in a farm {told}. Give the name of a farm instead.")
        return known.pk if known else _new_farm(caller, told, column_map)


def _as_id(told: str) -> uuid.UUID | None:
    try:
        return uuid.UUID(told)
    except ValueError:
        return None


def _new_farm(caller: Caller, name: str, column_map: ColumnMap) -> uuid.UUID:
    told = column_map.farm
    columns = {
        "name": name,
        "hemisphere": told.get("hemisphere", "north"),
        "time_zone": told.get("time_zone", "UTC"),
    }
    farm, _ = create_farm(caller, None, columns)
    return farm.pk


def _open(caller: Caller, farm_id: Any) -> OpenFarm:
    enter(caller)
    return open_farm(caller, farm_id, Right.RECORD)


def _carry_out(out: Console, asked: imports.Asked) -> None:
    if asked.job.state not in UNFINISHED:
        out.print("This file was taken in before, for the same block and season: nothing changes.")
        return
    carry_out_here(out, "Taking in lines", asked.imported.farm_id, asked.job.pk)


def _findings(opened: OpenFarm, imported: Import) -> Iterator[dict[str, Any]]:
    lines = ImportRow.objects.for_farm(opened.farm).filter(imported=imported).exclude(findings=[])
    for line in lines.order_by("line").iterator():
        yield from line.findings


def _print_counts(out: Console, imported: Import, findings: int) -> None:
    counts = imported.counts
    lines, doubtful = counted(counts["created"], "line"), counted(counts["with_findings"], "line")
    out.print(
        f"{imported.file_name} by the column map {imported.column_map['name']!r}, season {imported.season}: "
        f"{lines} stored, {counts['unchanged']} unchanged, {counts['not_stored']} not stored; "
        f"{counted(findings, 'finding')} on {doubtful}.",
        highlight=False,
        markup=False,
    )
    if imported.column_map.get("season_said"):
        out.print(imported.column_map["season_said"], style="dim", markup=False)


def _print_findings(out: Console, shown: list[dict[str, Any]], total: int) -> None:
    if not shown:
        return
    table = Table()
    table.add_column("line", justify="right")
    for heading in ("column", "value", "reason"):
        table.add_column(heading)
    for finding in shown:
        cells = (str(finding["line"]), finding["column"], finding["value"] or "(empty)", finding["reason"])
        table.add_row(*map(_as_text, cells))
    out.print(table)
    if total > len(shown):
        out.print(f"… and {total - len(shown)} more: --all-findings shows them, --report FILE.csv writes them.")


def _as_text(written: str) -> Text:
    """Show what a file holds as text: neither markup nor a control sequence of the terminal."""
    return Text("".join(c if c.isprintable() else c.encode("unicode_escape").decode() for c in written))


def _write_report(file: Path, found: list[dict[str, Any]]) -> None:
    """Write the findings; a value that a spreadsheet would take for a formula is written as text."""
    with file.open("w", encoding="utf-8", newline="") as opened:
        writer = csv.DictWriter(opened, ["line", "column", "value", "code", "reason"], lineterminator="\n")
        writer.writeheader()
        for finding in found:
            writer.writerow({name: _harmless(value) for name, value in finding.items()})


def _harmless(value: Any) -> Any:
    risky = isinstance(value, str) and value.startswith(_RISKY) and number_of(value, decimal_comma=False) is None
    return f"'{value}" if risky else value


def _print_statistics(out: Console, opened: OpenFarm, imported: Import) -> None:
    block = block_of(opened, cast(uuid.UUID, imported.block_id))
    computed = targets_of_block(opened, block, imported.season)
    summary = summarise(computed.walked.weights_kg)
    if summary.mean is None:
        out.print("No vine of the block was weighed in this season.")
        return
    deviation, variation = summary.standard_deviation, summary.coefficient_of_variation
    vines = counted(summary.n, "vine")
    more = f", standard deviation {deviation:.3f} kg, CV {variation:.1f} %" if deviation and variation else ""
    out.print(
        f"Block {block.name!r}: {vines} weighed, {summary.missing} not; mean {summary.mean:.3f} kg{more}.",
        markup=False,
    )
    formula = computed.formulas[0]
    if formula.formula is None:
        out.print("No formula answers for the block: set pruning_formula on it to get targets.")
        return
    numbers = int((computed.targets.status == "ok").sum())
    out.print(
        f"{numbers} targets by {formula.formula.label} (named by the {formula.level}). {block.note}",
        highlight=False,
        markup=False,
    )
