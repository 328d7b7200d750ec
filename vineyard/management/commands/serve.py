"""Serve: API, worker and scheduler in the foreground, with one clean stop."""

from __future__ import annotations

import json
import os
import signal
import sys
import time
from argparse import ArgumentParser
from pathlib import Path
from types import FrameType
from typing import Any

from django.conf import settings
from django.core.management import BaseCommand, CommandError

from vineyard import holding, servers
from vineyard.database_role import UnsafeRole
from vineyard.demo.loading import load_scenario, make_keys
from vineyard.demo.scenario import Scenario, read_scenario
from vineyard.launch import home
from vineyard.stack import Children
from vineyard.starting import prepare_database


class Stop(Exception):
    """Somebody asked the service to stop."""


class Command(BaseCommand):
    """Serve until told to stop."""

    help = "Serve the API, with a worker and a scheduler, until Ctrl-C or SIGTERM."
    requires_system_checks: list[str] = []

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--host", default="127.0.0.1", help="address to listen on (default: this machine only)")
        parser.add_argument("--port", type=int, default=8000, help="port to listen on (default: 8000)")
        parser.add_argument(
            "--demo", action="store_true", help="load the invented scenario, with a key for each person"
        )
        parser.add_argument(
            "--ready-file", type=Path, help="write address (and, with --demo, keys) here once it answers"
        )

    def handle(self, *_: Any, **options: Any) -> None:
        signal.signal(signal.SIGTERM, _stop)
        signal.signal(signal.SIGINT, _stop)
        children = holding.children()
        try:
            self._serve(children, options)
        except Stop:
            self._say("Stopping")
        except (servers.NotReady, UnsafeRole) as error:
            raise CommandError(str(error)) from error
        finally:
            signal.signal(signal.SIGTERM, signal.SIG_DFL)  # a second signal ends it at once
            signal.signal(signal.SIGINT, signal.SIG_DFL)
            children.stop()
            if options["ready_file"]:
                options["ready_file"].unlink(missing_ok=True)

    def _serve(self, children: Children, options: dict[str, Any]) -> None:
        host, port = options["host"], options["port"]
        servers.refuse_taken_port(host, port)
        url = servers.base_url(host, port)
        os.environ.setdefault("PUBLIC_URL", url)
        prepare_database(self._say)
        facts = {"base_url": url, "pid": os.getpid(), **(self._demo() if options["demo"] else {})}
        self._say("Starting the API, a worker and a scheduler")
        servers.start_api(children, host, port)
        servers.start_worker(children)
        servers.start_scheduler(children, home())
        servers.wait_until_ready(children, url)
        if options["ready_file"]:
            write_privately(options["ready_file"], facts)
        self._say(f"Ready: {url} (documentation at {url}/docs). Ctrl-C stops it.")
        self._print_keys(facts)
        self._watch(children)

    def _demo(self) -> dict[str, Any]:
        self._say("Loading the invented scenario")
        scenario = read_scenario(settings.FIXTURES_DIR / "scenario")
        program = load_scenario(scenario)
        return {"program": str(program.pk), **_ids(scenario), "keys": make_keys(scenario)}

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
    }


def write_privately(file: Path, facts: dict[str, Any]) -> None:
    """Write a file that only its owner may read, whole or not at all."""
    fresh = file.with_name(f"{file.name}.{os.getpid()}")
    descriptor = os.open(fresh, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o600)
    with os.fdopen(descriptor, "w", encoding="utf-8") as opened:
        json.dump(facts, opened, indent=1)
    fresh.replace(file)


def _stop(signum: int, _: FrameType | None) -> None:
    print(f"\nAsked to stop by {signal.Signals(signum).name}", file=sys.stderr, flush=True)
    raise Stop
