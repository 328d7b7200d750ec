"""Serve: API, worker and scheduler in the foreground, with one clean stop."""

from __future__ import annotations

import json
import os
import time
from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.conf import settings
from django.core.management import BaseCommand, CommandError

from vineyard import holding, servers
from vineyard.database_role import UnsafeRole
from vineyard.demo.five_years import read_years
from vineyard.demo.loading import load_scenario, make_keys
from vineyard.demo.playing import Refused
from vineyard.demo.replaying import FarmOffice
from vineyard.demo.scenario import Scenario, read_scenario
from vineyard.launch import stack_folder
from vineyard.listening import Listening, add_arguments
from vineyard.stack import Children
from vineyard.starting import prepare_database


class Command(BaseCommand):
    """Serve until told to stop."""

    help = "Serve the API, with a worker and a scheduler, until Ctrl-C or SIGTERM."
    requires_system_checks: list[str] = []

    def add_arguments(self, parser: ArgumentParser) -> None:
        add_arguments(parser)

    def handle(self, *_: Any, **options: Any) -> None:
        children = holding.children()
        try:
            self._serve(children, options)
        except KeyboardInterrupt:  # SIGINT or SIGTERM, see vineyard.launch
            self._say("Stopping")
        except (servers.NotReady, UnsafeRole, Refused) as error:
            raise CommandError(str(error)) from error
        finally:
            if options["ready_file"]:
                options["ready_file"].unlink(missing_ok=True)
            children.stop()

    def _serve(self, children: Children, options: dict[str, Any]) -> None:
        listening = Listening(options["host"], options["port"]).settled()
        url = listening.base_url
        named = "ALLOWED_HOSTS" in os.environ
        servers.make_known(listening)
        servers.count_in(stack_folder(demo=options["demo"]) / "metrics")
        prepare_database(self._say)
        facts = {"base_url": url, "pid": os.getpid(), **(self._demo() if options["demo"] else {})}
        self._say("Starting the API, a worker and a scheduler")
        servers.start_api(children, listening)
        servers.start_worker(children)
        servers.start_scheduler(children, stack_folder(demo=options["demo"]))
        servers.wait_until_ready(children, url)
        if options["demo"]:
            self._send_years(url, facts["keys"])
        if options["ready_file"]:
            write_privately(options["ready_file"], facts)
        self._say(f"Ready: {url} (documentation at {url}/docs). Ctrl-C stops it.")
        if listening.everywhere and not named:
            self._say("  Other machines reach it only by a name in ALLOWED_HOSTS, which is not set.")
        self._print_keys(facts)
        self._watch(children)

    def _demo(self) -> dict[str, Any]:
        self._say("Loading the invented scenario")
        scenario = read_scenario(settings.FIXTURES_DIR / "scenario")
        program = load_scenario(scenario)
        return {"program": str(program.pk), **_ids(scenario), "keys": make_keys(scenario)}

    def _send_years(self, url: str, keys: dict[str, str]) -> None:
        self._say("Sending the five invented years")
        scenario = read_scenario(settings.FIXTURES_DIR / "scenario")
        years = read_years(settings.FIXTURES_DIR / "scenario", scenario)
        FarmOffice(url, keys[scenario.five_years.key]).send_years(years)

    def _print_keys(self, facts: dict[str, Any]) -> None:
        for name, key in facts.get("keys", {}).items():
            self.stdout.write(f"  key of the {name.replace('_', ' ')}: {key}")
        if "farm" in facts:
            self.stdout.write(f"  farm: {facts['farm']}\n  block: {facts['block']}")
            self.stdout.flush()

    def _watch(self, children: Children) -> None:
        """Wait to be stopped; a child that ends for good ends the service."""
        while True:
            time.sleep(0.5)
            ended = children.ended()
            if ended:
                raise CommandError(f"The {ended.name} ended with status {ended.process.returncode}; stopping the rest.")

    def _say(self, sentence: str) -> None:
        self.stdout.write(sentence)
        self.stdout.flush()


def _ids(scenario: Scenario) -> dict[str, str]:
    return {
        "farm": str(scenario.farm.id),
        "block": str(scenario.block.id),
        "other_farm": str(scenario.other_farm.id),
        "cordon_farm": str(scenario.farms[scenario.five_years.farms[0]].id),
    }


def write_privately(file: Path, facts: dict[str, Any]) -> None:
    """Write a file that only its owner may read, whole or not at all."""
    fresh = file.with_name(f"{file.name}.{os.getpid()}")
    descriptor = os.open(fresh, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o600)
    with os.fdopen(descriptor, "w", encoding="utf-8") as opened:
        json.dump(facts, opened, indent=1)
    fresh.replace(file)
