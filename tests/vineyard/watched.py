"""A real service whose every word is kept: what its processes write, and what they count."""

from __future__ import annotations

import json
import os
import re
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import httpx
import psycopg

from tests.prepared import give_scenario
from tests.vineyard.test_serve import ROOT, Served, environment

_SAMPLE = re.compile(r"^([a-z_]+)(?:\{(.*)\})? ([0-9.e+-]+)$", re.MULTILINE)


class Watched(Served):
    """One running service that writes JSON; the command's own words stand apart from the log."""

    def __init__(self, home: Path) -> None:
        give_scenario(home)
        self.home, self.file = home, home / "ready.json"
        self.words, self.log = home / "words.txt", home / "log.jsonl"
        argv = [sys.executable, "manage.py", "serve", "--demo", "--port", "0", "--ready-file", str(self.file)]
        with self.words.open("w") as words, self.log.open("w") as log:
            told = {**environment(home), "LOG_FORMAT": "json"}
            self.process = subprocess.Popen(argv, cwd=ROOT, env=told, stdout=words, stderr=log)
        self.facts = self._wait()
        self.url = self.facts["base_url"]
        self.farm = f"/api/v1/farms/{self.facts['farm']}"

    def lines(self, **facts: Any) -> list[dict[str, Any]]:
        """Give the lines of the log that say all of this."""
        told = [json.loads(line) for line in self.log.read_text().splitlines() if line.startswith("{")]
        return [line for line in told if facts.items() <= line.items()]

    def wait_for(self, found: Callable[[], Any], within: float = 60) -> Any:
        end = time.monotonic() + within
        while not (value := found()):
            assert time.monotonic() < end, self.log.read_text()[-3000:]
            time.sleep(0.1)
        return value

    def metrics(self, **headers: str) -> httpx.Response:
        return httpx.get(f"{self.url}/metrics", headers=headers, timeout=30, trust_env=False)

    def samples(self) -> dict[str, float]:
        return {f"{name}{{{labels}}}": float(value) for name, labels, value in _SAMPLE.findall(self.metrics().text)}

    def as_owner(self, statement: str) -> None:
        """Change the database behind the service's back."""
        found = json.loads((self.home / "demo" / "stack.json").read_text())["environment"]
        with psycopg.connect(found["DATABASE_OWNER_URL"], autocommit=True) as connection:
            connection.execute(statement)

    def make_key(self, email: str, name: str) -> str:
        argv = [sys.executable, "manage.py", "make_key", email, "--name", name, "--scopes", "read,record,manage"]
        told = {**environment(self.home), "STACK": "demo"}
        return subprocess.run(argv, cwd=ROOT, env=told, capture_output=True, text=True, check=True).stdout.strip()

    def stop(self) -> None:
        if self.process.poll() is None:
            self.process.terminate()
            self.process.wait(30)


def written(home: Path) -> dict[str, str]:
    """Give all that a service and its servers wrote into files, apart from the records themselves."""
    apart = {"words.txt", "ready.json", "secret_key"}
    files = [file for file in home.rglob("*") if file.is_file() and file.name not in apart]
    kept = [file for file in files if "postgres" not in file.relative_to(home).parts and os.access(file, os.R_OK)]
    return {str(file.relative_to(home)): file.read_bytes().decode("utf-8", "replace") for file in kept}
