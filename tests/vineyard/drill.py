"""A database of its own on the stack of the tests, for what is done to a whole database: backups and migrations."""

from __future__ import annotations

import json
import os
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from io import StringIO
from pathlib import Path
from typing import Any
from urllib.parse import quote, unquote, urlsplit, urlunsplit

import httpx
import psycopg
import pytest

ROOT = Path(__file__).resolve().parents[2]


def url_of(setting: str, database: str) -> str:
    return urlunsplit(urlsplit(os.environ[setting])._replace(path=f"/{database}"))


class Drill:
    """One database, the commands that work on it, and a service that serves it."""

    def __init__(self, name: str, home: Path, blocker: Any) -> None:
        self.name, self.home, self.blocker = name, home, blocker
        self.owner = urlsplit(os.environ["DATABASE_OWNER_URL"]).username
        self.environment = {name: value for name, value in os.environ.items() if name != "PUBLIC_URL"}
        for setting in ("DATABASE_URL", "DATABASE_OWNER_URL", "DATABASE_BACKUP_URL"):
            self.environment[setting] = url_of(setting, self.name)
        self.environment |= {"STACK_HOME": str(home), "BROKER_URL": self.environment["BROKER_URL"].replace("=0", "=9")}

    def make(self) -> None:
        self.on_server(f'CREATE DATABASE "{self.name}" OWNER "{self.owner}"')

    def lose(self) -> None:
        self.on_server(f'DROP DATABASE IF EXISTS "{self.name}" WITH (FORCE)')

    def on_server(self, statement: str) -> list[Any]:
        return self._execute(url_of("DATABASE_BACKUP_URL", "postgres"), statement)

    def sees_all(self, statement: str) -> list[Any]:
        """Carry out a statement as the superuser, for whom there are no walls."""
        return self._execute(self.environment["DATABASE_BACKUP_URL"], statement)

    def as_owner(self, statement: str) -> list[Any]:
        return self._execute(self.environment["DATABASE_OWNER_URL"], statement)

    def _execute(self, url: str, statement: str) -> list[Any]:
        with psycopg.connect(url, autocommit=True) as connection:
            ran = connection.execute(statement)
            return ran.fetchall() if ran.description else []

    def manage(self, *words: str) -> subprocess.CompletedProcess[str]:
        """Run a command as its own process, as whoever runs the service does."""
        argv = [sys.executable, "manage.py", *words]
        return subprocess.run(
            argv, cwd=ROOT, env=self.environment, capture_output=True, text=True, timeout=100, check=False
        )

    @contextmanager
    def here(self) -> Iterator[None]:
        """Let this process work on the drill's database."""
        from django.db import connection, connections

        before = connection.settings_dict["NAME"]
        with self.blocker.unblock():
            connections.close_all()
            connection.settings_dict["NAME"] = self.name
            try:
                yield
            finally:
                connections.close_all()
                connection.settings_dict["NAME"] = before

    def done(self, *words: str, backup_url: str | None = None, errors: StringIO | None = None) -> str:
        """Carry out a command in this process, which saves the time of a start; gives what it says."""
        from django.core.management import call_command
        from django.test import override_settings

        from vineyard import env

        out = StringIO()
        url = os.environ["DATABASE_BACKUP_URL"] if backup_url is None else backup_url
        parts = urlsplit(url)
        told = env.Database(
            "", parts.username or "", "", unquote(parts.netloc.rpartition("@")[2].rpartition(":")[0]), ""
        )
        with self.here(), override_settings(DATABASE_BACKUP=told):
            call_command(*words, stdout=out, stderr=errors or StringIO())
        return out.getvalue()

    def refused(self, *words: str, backup_url: str | None = None) -> str:
        """Give the sentence by which a command refuses."""
        from django.core.management import CommandError

        with pytest.raises(CommandError) as refusal:
            self.done(*words, backup_url=backup_url)
        return str(refusal.value)

    @contextmanager
    def served(self) -> Iterator[Any]:
        """Serve the database with the invented scenario; gives what the ready file says."""
        file = self.home / "ready.json"
        argv = [sys.executable, "manage.py", "serve", "--demo", "--port", "0", "--ready-file", str(file)]
        with (self.home / "serve.log").open("w") as log:
            process = subprocess.Popen(argv, cwd=ROOT, env=self.environment, stdout=log, stderr=log)
        try:
            end = time.monotonic() + 100
            while not file.exists():
                if process.poll() is not None or time.monotonic() > end:
                    pytest.fail(f"it did not come up: {(self.home / 'serve.log').read_text()}")
                time.sleep(0.1)
            yield json.loads(file.read_text())
        finally:
            process.terminate()
            process.wait(30)


def ask(facts: Any, who: str, method: str, path: str, **more: Any) -> httpx.Response:
    headers = {"Authorization": f"Bearer {facts['keys'][who]}", **more.pop("headers", {})}
    return httpx.request(method, facts["base_url"] + path, headers=headers, timeout=30, trust_env=False, **more)


@contextmanager
def drill(name: str, home: Path, blocker: Any) -> Iterator[Drill]:
    """Make a database for a drill, and remove it at the end."""
    if "DATABASE_BACKUP_URL" not in os.environ:
        pytest.skip("the servers named for the tests come without DATABASE_BACKUP_URL")
    opened = Drill(f"vineyard_drill_{name}_{os.getpid()}", home, blocker)
    opened.lose()
    opened.make()
    try:
        yield opened
    finally:
        opened.lose()


def make_records(opened: Drill) -> tuple[list[Any], str]:
    """Put the invented scenario on record and weigh nine of its vines; gives the records as the API shows them."""
    from django.conf import settings
    from rest_framework.test import APIClient

    from vineyard.demo.loading import load_scenario, make_keys
    from vineyard.demo.scenario import read_scenario

    # Without the earlier years: nine records are easier to follow.
    scenario = replace(read_scenario(settings.FIXTURES_DIR / "scenario"), history=())
    opened.done("migrate")
    opened.done("load_catalogues")
    with opened.here():
        load_scenario(scenario)
        owner = APIClient(headers={"Authorization": f"Bearer {make_keys(scenario)['owner']}"})
        farm = f"/api/v1/farms/{scenario.farm.id}"
        vines = owner.get(f"{farm}/blocks/{scenario.block.id}/vines?limit=9").json()["results"]
        weight = {"value": 1.25, "unit": "kg"}
        for vine in vines:
            body = {"vine": vine["id"], "observed_at": "2026-01-18T10:02:00-05:00", "pruning_weight": weight}
            assert owner.post(f"{farm}/dormant-records", body).status_code == 201
        return list(owner.get(f"{farm}/dormant-records?limit=500").json()["results"]), vines[0]["id"]


def as_user(url: str, user: str) -> str:
    """Give the same address for another role."""
    parts = urlsplit(url)
    return urlunsplit(parts._replace(netloc=f"{quote(user)}@{parts.netloc.rpartition('@')[2]}"))
