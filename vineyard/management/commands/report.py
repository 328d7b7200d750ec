"""Make a season report of a farm here and now, and write it into files."""

from __future__ import annotations

import os
import uuid
from argparse import ArgumentParser
from contextlib import ExitStack
from pathlib import Path
from typing import Any, BinaryIO, Final

from django.core.management import BaseCommand, CommandError
from django.db import transaction
from rich.console import Console

from balance.models import Report
from balance.reports import kinds as _kinds  # noqa: F401 - this command carries the job out itself
from balance.reports.asking import ask_for_report, file_of, report_of
from balance.reports.models import UnitSystem
from balance.reports.rendering import FORMS
from records.access import Caller, OpenFarm, enter, open_farm, open_for_work
from records.context import set_context
from records.errors import Refusal
from records.models import Membership, Person, RegisteredFarm, Role
from records.models.jobs import JobState
from vineyard.carrying_out import carry_out_here
from vineyard.demo.printing import console
from vineyard.program_reports import make_of_program
from vineyard.starting import prepare_database

SEASONS: Final = range(1900, 2101)
#: Farms of one name that are listed, so that one of them can be said by its id.
MOST_NAMED: Final = 20


class Command(BaseCommand):
    """The report."""

    help = "Make the season report of a farm, in the name of its owner, and write it into files that only you can read."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("farm", help="the farm's id or its whole name, as list_farms shows them")
        parser.add_argument("season", type=int, help="harvest year")
        parser.add_argument(
            "--program",
            action="store_true",
            help="the name or id is a program's: its report, in the name of one of its leads",
        )
        parser.add_argument("--units", choices=UnitSystem.values, default=UnitSystem.METRIC, help="default: metric")
        parser.add_argument("--form", nargs="+", choices=list(FORMS), default=list(FORMS), help="default: all")
        parser.add_argument("--to", type=Path, default=Path(), help="the folder to write to; default: this one")

    def handle(self, *_: Any, **options: Any) -> None:
        out = console()
        if options["season"] not in SEASONS:
            raise CommandError(f"A season is a harvest year from {SEASONS[0]} to {SEASONS[-1]}.")
        prepare_database(lambda sentence: out.print(f"· {sentence}", style="dim"))
        places = _places(options)
        try:
            with ExitStack() as stack:
                files = {form: stack.enter_context(_new(place)) for form, place in places.items()}
                make = make_of_program if options["program"] else _make
                make(out, options, files)
        except BaseException as error:
            for place in places.values():
                place.unlink(missing_ok=True)  # they were new
            if isinstance(error, Refusal):
                raise CommandError(error.detail) from error
            raise
        for place in places.values():
            out.print(f"{place}: {place.stat().st_size} bytes", markup=False, highlight=False, soft_wrap=True)


def _places(options: dict[str, Any]) -> dict[str, Path]:
    """Give where each form goes; nothing that is there is overwritten."""
    folder: Path = options["to"]
    if not folder.is_dir():
        raise CommandError(f"{folder} is no folder. Make it first, or name another one with --to.")
    name = f"report-{options['season']}-{options['units']}"
    places = {form: folder / f"{name}.{FORMS[form].suffix}" for form in dict.fromkeys(options["form"])}
    for place in places.values():
        if place.exists():
            raise CommandError(f"{place} is there already. Move it away, or name another folder with --to.")
    return places


def _new(place: Path) -> BinaryIO:
    try:
        return os.fdopen(os.open(place, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600), "wb")
    except OSError as error:
        raise CommandError(f"{place}: {error.strerror}.") from error


def _make(out: Console, options: dict[str, Any], files: dict[str, BinaryIO]) -> None:
    farm_id = _farm(options["farm"])
    caller = Caller(_owner(farm_id))
    with transaction.atomic():
        asked = ask_for_report(_open(caller, farm_id), None, options["season"], options["units"]).row
    job = carry_out_here(out, "Making the report", farm_id, asked.job_id)
    if job.state == JobState.CANCELLED:
        raise CommandError("Somebody cancelled the report while it was being made. Run the command again.")
    if job.state == JobState.FAILED:
        raise CommandError(job.failure)
    with transaction.atomic():
        opened = _open(caller, farm_id)
        for form, file in files.items():
            file.write(bytes(file_of(opened, asked.pk, form).content))
        _say(out, opened, report_of(opened, asked.pk))


def _say(out: Console, opened: OpenFarm, report: Report) -> None:
    taken_at = f"{report.taken_at:%Y-%m-%d %H:%M:%S} UTC"
    told = f"{opened.farm.name}, season {report.season}, {report.get_units_display()}, as it was at {taken_at}."
    out.print(told, markup=False, highlight=False)
    out.print(f"Check code {report.check_code}", markup=False, highlight=False, soft_wrap=True)


def _open(caller: Caller, farm_id: uuid.UUID) -> OpenFarm:
    enter(caller)
    return open_farm(caller, farm_id)


def _farm(told: str) -> uuid.UUID:
    """Give the id of the farm that is told by its id or name."""
    with transaction.atomic():
        set_context(register="on", person=None, farms=None)
        by_id = _as_id(told)
        farms = RegisteredFarm.objects.filter(pk=by_id) if by_id else RegisteredFarm.objects.filter(name=told)
        found = list(farms.order_by("pk").values_list("pk", flat=True)[:MOST_NAMED])
    if not found:
        raise CommandError(f"There is no farm {told!r}. manage.py list_farms shows those that there are.")
    if len(found) > 1:
        raise CommandError(f"Several farms are named {told!r}. Say which by its id: {', '.join(map(str, found))}.")
    return found[0]


def _as_id(told: str) -> uuid.UUID | None:
    try:
        return uuid.UUID(told)
    except ValueError:
        return None


def _owner(farm_id: uuid.UUID) -> Person:
    """Give the person in whose name the report is made: the farm's owner, of several the first."""
    with transaction.atomic():
        open_for_work(farm_id)
        owners = Membership.objects.for_farm(farm_id).filter(role=Role.OWNER, person__is_active=True)
        first: Membership | None = owners.select_related("person").order_by("received_at", "id").first()
    if first is None:
        raise CommandError("The farm has no owner who could ask for a report.")
    return first.person
