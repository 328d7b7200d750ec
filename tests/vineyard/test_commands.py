"""Any command may be the first one in a fresh clone, and none starts what it does not need."""

from __future__ import annotations

import re
import signal
import stat
import subprocess
import sys
import time
from pathlib import Path

import pytest

from tests.vineyard.test_serve import ROOT, environment

pytestmark = pytest.mark.timeout(300)  # a first start makes everything, and a busy machine takes its time
KEY = re.compile(r"vine_[0-9a-z]{8}_[0-9A-Za-z_-]{51}")


def run(home: Path, *command: str) -> subprocess.CompletedProcess[str]:
    argv = [sys.executable, "manage.py", *command]
    return subprocess.run(
        argv, cwd=ROOT, env=environment(home), capture_output=True, text=True, timeout=240, check=False
    )


@pytest.mark.parametrize(
    "command", [["help"], ["serve", "--help"], ["demo", "-h"], ["make_key", "--help"], ["diffsettings"]]
)
def test_what_needs_no_database_starts_none(command, tmp_path):
    ended = run(tmp_path, *command)
    assert ended.returncode == 0, ended.stderr
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize("arguments", [["--port", "99999"], ["--port", "many"], ["--port"]])
def test_serve_says_what_is_wrong_with_its_arguments_and_starts_nothing(arguments, tmp_path):
    ended = run(tmp_path, "serve", *arguments)
    assert (ended.returncode, "--port" in ended.stderr, "Traceback" in ended.stderr) == (2, True, False)
    assert list(tmp_path.iterdir()) == []


@pytest.fixture(scope="module")
def fresh(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("fresh clone, with a space and an é")


@pytest.fixture(scope="module")
def made(fresh: Path) -> subprocess.CompletedProcess[str]:
    return run(fresh, "make_key", "ines@tern-hill.example", "--name", "Ines Falk (invented)", "--scopes", "read,record")


@pytest.mark.slow
def test_a_key_can_be_made_before_anything_else_and_stands_alone_on_standard_output(made):
    assert made.returncode == 0, made.stderr
    assert KEY.fullmatch(made.stdout.strip())
    assert KEY.search(made.stderr) is None


@pytest.mark.slow
def test_the_secret_key_of_the_stack_is_its_owners_alone(made, fresh):
    assert stat.S_IMODE((fresh / "serve" / "secret_key").stat().st_mode) == 0o600


@pytest.mark.slow
@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["--scopes", "fly"], "'fly' is no scope. Known: read, record, manage."),
        (["--farm", "01991b5e-0000-7000-8000-00000000fa12"], "has no part in a farm 01991b5e"),
        (["--days", "0"], "'0' is no number of days"),
    ],
)
def test_a_key_that_would_open_nothing_is_refused_with_a_sentence(arguments, words, made, fresh):
    ended = run(fresh, "make_key", "ines@tern-hill.example", *arguments)
    assert ended.returncode != 0
    assert words in ended.stderr
    assert "Traceback" not in ended.stderr
    assert ended.stdout == ""


@pytest.mark.slow
def test_a_start_that_is_stopped_half_way_stops_cleanly(made, fresh):
    argv = [sys.executable, "manage.py", "serve", "--port", "0"]
    process = subprocess.Popen(argv, cwd=ROOT, env=environment(fresh), stderr=subprocess.PIPE, text=True)
    assert process.stderr
    assert "Bringing up PostgreSQL" in process.stderr.readline()
    time.sleep(0.2)  # PostgreSQL is starting
    process.send_signal(signal.SIGTERM)
    assert process.wait(20) == 0
    assert "Traceback" not in process.stderr.read()
    assert not (fresh / "serve" / "stack.json").exists()
