"""Play the invented winter's day against the real service and five invented years after it, and print them."""

from __future__ import annotations

import os
import time
from pathlib import Path
from typing import Any

from django.conf import settings
from django.core.management import BaseCommand, CommandError
from rich.console import Console
from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn

from vineyard import holding, servers
from vineyard.database_role import UnsafeRole
from vineyard.demo import printing
from vineyard.demo.five_years import FarmYears, read_years
from vineyard.demo.loading import load_scenario, make_keys
from vineyard.demo.playing import FieldApp, Played, Refused
from vineyard.demo.printing_blocks import print_blocks
from vineyard.demo.printing_cordons import print_winter
from vineyard.demo.replaying import FarmOffice
from vineyard.demo.reporting import make_reports, print_reports
from vineyard.demo.scenario import Scenario, read_scenario
from vineyard.launch import stack_folder
from vineyard.listening import DEFAULT_HOST, Listening
from vineyard.stack import Children
from vineyard.starting import prepare_database


class Command(BaseCommand):
    """The demonstration."""

    help = "Bring everything up, play an invented winter's day over HTTP, print it, and stop."
    requires_system_checks: list[str] = []

    def handle(self, *_: Any, **__: Any) -> None:
        began = time.monotonic()
        out = printing.console()
        children = holding.children()
        try:
            self._play(children, out, began)
        except UnsafeRole as error:
            raise CommandError(str(error)) from error
        except (servers.NotReady, Refused) as error:
            raise CommandError(f"{error} The service's own words are in {log_file()}.") from error
        finally:
            children.stop()

    def _play(self, children: Children, out: Console, began: float) -> None:
        scenario = read_scenario(settings.FIXTURES_DIR / "scenario")
        listening = Listening(DEFAULT_HOST, 0).settled()
        url = os.environ["PUBLIC_URL"] = listening.base_url  # whoever set another meant a service that stays up
        servers.make_known(listening)
        servers.count_in(stack_folder(demo=True) / "metrics")
        out.print("Balanced pruning of grapevines: an invented winter's day, played on the real service", style="bold")
        prepare_database(lambda sentence: out.print(f"· {sentence}", style="dim"))
        out.print("· Loading the invented scenario", style="dim")
        load_scenario(scenario)
        keys = make_keys(scenario)
        out.print(f"· Starting the service at {url}", style="dim")
        log = log_file()
        log.parent.mkdir(parents=True, exist_ok=True)
        servers.start_api(children, listening, workers=1, log=log)
        servers.start_worker(children, log)
        servers.start_scheduler(children, log.parent, log)
        servers.wait_until_ready(children, url)
        app = FieldApp(url, keys["field_app"], scenario)
        day = play_with_progress(out, app, scenario)
        unchanged = sum(not played.is_new for played in day)
        if unchanged:
            out.print(f"· {unchanged} of {len(day)} weighings were known from an earlier run: nothing was stored twice")
        printing.print_day(out, scenario, day)
        printing.print_steps(out, day)
        printing.print_block(out, app.statistics(), app.targets())
        years = read_years(settings.FIXTURES_DIR / "scenario", scenario)
        office = FarmOffice(url, keys[scenario.five_years.key])
        send_with_progress(out, office, years)
        show_winter(out, office, years, scenario.five_years.last_winter)
        show_reports(out, office, years, scenario.five_years.last_winter - 1)
        printing.print_where_next(out, day[0].record["target"]["cautions"], time.monotonic() - began)


def log_file() -> Path:
    """Give the file that takes what the demonstration's servers say, so that the page stays a person's."""
    return stack_folder(demo=True) / "service.log"


def play_with_progress(out: Console, app: FieldApp, scenario: Scenario) -> list[Played]:
    """Play the day, with a bar where there is a terminal to draw it on."""
    words = TextColumn("· Posting weighings and counts as the field app")
    bar = Progress(words, BarColumn(), MofNCompleteColumn(), console=out, disable=not out.is_terminal)
    if not out.is_terminal:
        out.print(f"· Posting {len(scenario.visits)} weighings and their counts as the field app", style="dim")
    with bar:
        return list(bar.track(app.play(), total=len(scenario.visits)))


def send_with_progress(out: Console, office: FarmOffice, years: list[FarmYears]) -> None:
    """Send the five years, with a bar where there is a terminal to draw it on."""
    blocks = [block for farm in years for block in farm.blocks]
    total = sum(len(block.records) + len(block.cases) for block in blocks)
    words = f"· Sending five years of {len(years)} farms and {len(blocks)} blocks: {total:,} records and cases"
    if not out.is_terminal:
        out.print(words, style="dim")
    with Progress(TextColumn(words), BarColumn(), console=out, disable=not out.is_terminal) as bar:
        task = bar.add_task("", total=total)
        sent = office.send_years(years, lambda number: bar.advance(task, number))
    if not sent:
        out.print("· The five years were known from an earlier run: nothing was stored twice")


def show_winter(out: Console, office: FarmOffice, years: list[FarmYears], season: int) -> None:
    """Print the work of the last winter, and where all blocks stand at the end of its season."""
    winters = {farm.name: office.worklist(farm, season) for farm in years}
    print_winter(out, season, winters, office.worklist(years[0], season, order="urgency"))
    print_blocks(out, office.of_all_farms("block-comparison", season), office.of_all_farms("attention", season))


def show_reports(out: Console, office: FarmOffice, years: list[FarmYears], season: int) -> None:
    """Have the reports of the season that is over made, with a bar where there is a terminal to draw it on."""
    words = f"· Having the season-end reports of {len(years)} farms made"
    if not out.is_terminal:
        out.print(words, style="dim")
    with Progress(TextColumn(words), BarColumn(), console=out, disable=not out.is_terminal) as bar:
        made = make_reports(office, years, season, stack_folder(demo=True) / "reports")
        reports = list(bar.track(made, total=len(years)))
    print_reports(out, season, reports)
