"""The embedded stack: comes up anywhere, serves one owner, and leaves nothing behind, however it ends."""

from __future__ import annotations

import contextlib
import json
import os
import shutil
import signal
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import psutil
import psycopg
import pytest

from vineyard.stack import Stack, StackBusy, running_environment

OWNER = Path(__file__).with_name("owner.py")
ROOT_ONLY = pytest.mark.skipif(os.geteuid() != 0, reason="only root can become another user or leave the network")


@pytest.fixture
def base() -> Iterator[Path]:
    """A folder that every user of the machine can reach, outside pytest's private one."""
    folder = Path(tempfile.mkdtemp(prefix="vineyard-stack-"))
    folder.chmod(0o755)
    yield folder
    shutil.rmtree(folder, ignore_errors=True)


@pytest.fixture
def owner_of() -> Iterator[Callable[..., tuple[subprocess.Popen[str], dict[str, Any]]]]:
    """Start an owner as a process of its own, and end it and its children after the test."""
    started: list[subprocess.Popen[str]] = []

    def start(
        base: Path, *before: str, more: tuple[str, ...] = (), python: str = sys.executable, **how: Any
    ) -> tuple[subprocess.Popen[str], dict[str, Any]]:
        argv = [*before, python, str(OWNER), str(base), *more]
        process = subprocess.Popen(argv, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, cwd="/", **how)
        started.append(process)
        assert process.stdout is not None
        said = _first_json_line(process)
        return process, said

    yield start
    for process in started:
        with contextlib.suppress(OSError):
            process.send_signal(signal.SIGTERM)
        with contextlib.suppress(subprocess.TimeoutExpired):
            process.wait(30)


def _first_json_line(process: subprocess.Popen[str]) -> dict[str, Any]:
    assert process.stdout is not None
    for line in process.stdout:
        if line.startswith("{"):
            said: dict[str, Any] = json.loads(line)
            return said
    assert process.stderr is not None
    pytest.fail(f"the owner did not come up: {process.stderr.read()}")


def family(pid: int) -> list[psutil.Process]:
    return psutil.Process(pid).children(recursive=True)


def all_gone(processes: list[psutil.Process], within: float = 8.0) -> list[psutil.Process]:
    _, alive = psutil.wait_procs(processes, timeout=within)
    return [process for process in alive if process.is_running() and process.status() != psutil.STATUS_ZOMBIE]


def query(environment: dict[str, str], statement: str, *, as_owner: bool = False) -> list[tuple[Any, ...]]:
    address = environment["DATABASE_OWNER_URL" if as_owner else "DATABASE_URL"]
    with psycopg.connect(address, autocommit=True) as connection:
        cursor = connection.execute(statement)
        return cursor.fetchall() if cursor.description else []


def test_kill_9_of_the_owner_leaves_no_process_and_the_next_start_has_every_commit(base, owner_of):
    owner, said = owner_of(base, more=("deaf",))
    query(said["environment"], "CREATE TABLE kept AS SELECT 48 AS nodes", as_owner=True)
    processes = family(owner.pid)
    names = {process.name() for process in processes}
    assert {"postgres", "sh", "sleep"} <= names
    owner.kill()
    assert all_gone(processes) == []
    _, again = owner_of(base)
    assert query(again["environment"], "SELECT nodes FROM kept", as_owner=True) == [(48,)]


def test_an_orderly_stop_leaves_no_process_and_no_socket(base, owner_of):
    owner, said = owner_of(base)
    processes = family(owner.pid)
    owner.terminate()
    assert owner.wait(30) == 0
    assert all_gone(processes) == []
    assert not Path(said["environment"]["BROKER_URL"].split("//")[1].split("?")[0]).parent.exists()


def test_the_next_start_works_at_once_three_kills_in_a_row(base, owner_of):
    for _ in range(3):
        owner, said = owner_of(base)
        assert query(said["environment"], "SELECT 1") == [(1,)]
        owner.kill()


def test_a_second_starter_is_refused_with_the_owners_pid(base, owner_of):
    owner, _ = owner_of(base)
    with pytest.raises(StackBusy, match=f"process {owner.pid}.*STACK_HOME"):
        Stack(base).start()


def test_another_process_finds_a_running_stack_and_none_after_its_end(base, owner_of):
    owner, said = owner_of(base)
    assert running_environment(base) == said["environment"]
    owner.kill()
    owner.wait()
    assert running_environment(base) is None


@pytest.mark.parametrize("content", ["999999\n", "", "not a pid\n"])
def test_a_stale_pid_file_does_not_stop_a_start(content, base):
    Stack(base, fast=True).start().stop()
    (_cluster(base) / "postmaster.pid").write_text(content)
    with Stack(base, fast=True) as stack:
        assert query(stack.environment(), "SELECT 1") == [(1,)]


def test_a_pid_that_another_program_has_been_given_does_not_stop_a_start(base):
    Stack(base, fast=True).start().stop()
    how: dict[str, Any] = {"user": "nobody", "group": "nogroup", "extra_groups": []} if os.geteuid() == 0 else {}
    stranger = subprocess.Popen(["sleep", "60"], cwd="/", **how)
    try:
        written = (
            f"{stranger.pid}\n{_cluster(base)}\n{int(time.time())}\n5432\n/tmp\n\n         1         1\nready   \n"
        )
        (_cluster(base) / "postmaster.pid").write_text(written)
        with Stack(base, fast=True) as stack:
            assert query(stack.environment(), "SELECT 1") == [(1,)]
        assert stranger.poll() is None
    finally:
        stranger.kill()
        stranger.wait()


def _cluster(base: Path) -> Path:
    inside = base / "postgres"
    if inside.exists():
        return inside
    return next(Path(tempfile.gettempdir()).glob(f"vineyard-{os.getuid()}-*-data/postgres"))


def test_a_cluster_half_made_by_a_killed_start_is_made_anew(base):
    half = base / "postgres"
    half.mkdir()
    (half / "PG_VERSION").write_text("18\n")
    with Stack(base, fast=True) as stack:
        assert query(stack.environment(), "SELECT 1") == [(1,)]


@pytest.mark.parametrize("name", ["a path with spaces and é", "x" * 100 + "/" + "y" * 120])
def test_any_path_will_do(name, base):
    with Stack(base / name, fast=True) as stack:
        assert len(stack.environment()["BROKER_URL"]) < 108
        assert query(stack.environment(), "SELECT 1") == [(1,)]


def _python_for_everybody() -> tuple[str, dict[str, str]]:
    """Give an interpreter that a plain user can run, with the path to this environment's packages."""
    ours, systems = sys.executable, f"/usr/bin/python{sys.version_info.major}.{sys.version_info.minor}"
    for python in (ours, systems):
        command = ["/bin/sh", "-c", f"exec '{python}' -c 'import encodings'"]
        if subprocess.run(command, user="nobody", cwd="/", check=False, stderr=subprocess.DEVNULL).returncode == 0:
            return python, {} if python == ours else {"PYTHONPATH": str(Path(psycopg.__file__).parents[1])}
    pytest.skip("no interpreter of this version lies where a plain user may go")


@ROOT_ONLY
def test_a_plain_user_can_bring_it_up(base, owner_of):
    shutil.chown(base, "nobody", "nogroup")
    python, more = _python_for_everybody()
    environment = {**os.environ, **more, "HOME": str(base)}
    owner, said = owner_of(base, python=python, user="nobody", group="nogroup", extra_groups=[], env=environment)
    assert query(said["environment"], "SELECT 1") == [(1,)]
    assert psutil.Process(owner.pid).username() == "nobody"
    assert {process.username() for process in family(owner.pid)} == {"nobody"}


@ROOT_ONLY
def test_it_needs_no_network(base, owner_of):
    if subprocess.run(["unshare", "-n", "true"], check=False).returncode:
        pytest.skip("this machine lets nobody leave the network")
    _, said = owner_of(base, "unshare", "-n")
    assert query(said["environment"], "SELECT 1") == [(1,)]


def test_nothing_listens_on_the_network(base, owner_of):
    owner, _ = owner_of(base)
    listening = []
    for process in family(owner.pid):
        with contextlib.suppress(psutil.NoSuchProcess, FileNotFoundError):  # PostgreSQL's helpers come and go
            listening += [c for c in process.net_connections("inet") if c.status == psutil.CONN_LISTEN]
    assert listening == []


def test_the_sockets_lie_where_only_the_databases_user_may_go(base):
    with Stack(base, fast=True) as stack:
        folder = Path(stack.environment()["BROKER_URL"].split("//")[1].split("?")[0]).parent
        assert folder.stat().st_mode & 0o777 == 0o700


def test_the_serving_role_owns_nothing_bypasses_nothing_and_makes_nothing(base):
    with Stack(base, fast=True) as stack:
        rights = "SELECT rolsuper, rolbypassrls, rolcreatedb, rolcreaterole FROM pg_roles WHERE rolname = current_user"
        assert query(stack.environment(), rights) == [(False,) * 4]
        with pytest.raises(psycopg.errors.InsufficientPrivilege):
            query(stack.environment(), "CREATE TABLE mine (id int)")


def test_what_is_acknowledged_survives_a_crash_unless_the_stack_is_for_tests(base, owner_of):
    _, said = owner_of(base)
    assert query(said["environment"], "SHOW fsync") == [("on",)]
    assert query(said["environment"], "SHOW synchronous_commit") == [("on",)]
