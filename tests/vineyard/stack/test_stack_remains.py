"""What an earlier run left behind does not hinder a start, and a start harms no stranger."""

from __future__ import annotations

import fcntl
import os
import signal
import subprocess
import time
from pathlib import Path
from typing import Any

import psutil
import pytest

from tests.vineyard.stack.looking import child_of, each, family, left_of, query
from vineyard.stack import Stack, StackError
from vineyard.stack.places import places_for

AS_DATABASE: dict[str, Any] = {"user": "nobody", "group": "nogroup", "extra_groups": []} if os.geteuid() == 0 else {}


def pid_file(base: Path) -> Path:
    return base / "postgres" / "postmaster.pid"


@pytest.mark.parametrize("content", ["999999\n", "", "not a pid\n"])
def test_a_stale_pid_file_does_not_stop_a_start(content, made):
    pid_file(made).write_text(content)
    with Stack(made, fast=True) as stack:
        assert query(stack.environment(), "SELECT 1") == [(1,)]


@pytest.fixture
def stranger(made, started):
    """A process of the database's user that is no database: PostgreSQL takes its pid in a lock for a server's."""
    process = subprocess.Popen(["sleep", "60"], cwd=made, text=True, **AS_DATABASE)
    started.append(process)
    yield process
    assert process.poll() is None, "a start may not harm it"


def test_a_pid_that_another_program_has_been_given_does_not_stop_a_start(made, stranger):
    lines = [stranger.pid, made / "postgres", int(time.time()), 5432, "/tmp", "", "        1        1", "ready"]
    pid_file(made).write_text("\n".join(map(str, lines)) + "\n")
    with Stack(made, fast=True) as stack:
        assert query(stack.environment(), "SELECT 1") == [(1,)]


def test_a_lock_of_a_socket_with_such_a_pid_does_not_stop_a_start(made, stranger):
    """As a server leaves it that was killed together with its guard."""
    sockets = places_for(made).sockets
    sockets.mkdir(mode=0o700)
    (sockets / ".s.PGSQL.5432.lock").write_text(f"{stranger.pid}\n{made}/postgres\n{int(time.time())}\n5432\n\n")
    with Stack(made, fast=True) as stack:
        assert query(stack.environment(), "SELECT 1") == [(1,)]


def test_a_cluster_half_made_is_made_anew(base):
    half = base / "postgres.new"
    half.mkdir()
    (half / "PG_VERSION").write_text("18\n")
    with Stack(base, fast=True) as stack:
        assert query(stack.environment(), "SELECT 1") == [(1,)]
    assert not half.exists()


def test_servers_that_outlived_their_owner_are_ended_first(made, owner_of):
    """As on a system where children do not die with their parent, and the guard was killed too."""
    owner, environment = owner_of(made, "untied")
    processes = family(owner.pid)
    child_of(owner.pid, environment, "guard.py").kill()
    owner.kill()
    owner.wait()
    assert {"postgres", "valkey-server"} <= {*each(left_of(processes, within=0.3), psutil.Process.name)}
    with Stack(made, fast=True) as stack:
        assert left_of(processes, within=0) == []
        assert query(stack.environment(), "SELECT 1") == [(1,)]


def test_a_server_that_cannot_be_found_is_never_joined_by_a_second(made, owner_of, monkeypatch):
    """Two of them on one cluster would ruin it."""
    monkeypatch.setattr("vineyard.stack.supervisor._REMAINS_END_WITHIN_SECONDS", 0.3)
    owner, environment = owner_of(made, "untied")
    server = child_of(owner.pid, environment, "bin/postgres")
    child_of(owner.pid, environment, "guard.py").kill()
    owner.kill()
    pid_file(made).unlink()
    with pytest.raises(StackError, match="earlier run still use"):
        Stack(made, fast=True).start()
    server.kill()
    assert left_of([server]) == []


def test_where_children_do_not_die_with_their_parent_the_guard_ends_them(made, owner_of):
    """Even when the owner's whole group was killed, as by a terminal's job control: the guard is none of it."""
    owner, _ = owner_of(made, "untied", process_group=0)
    processes = family(owner.pid)
    os.killpg(owner.pid, signal.SIGKILL)
    assert left_of(processes) == []


def test_a_start_waits_for_what_is_still_ending(made, started):
    with (made / "remains.lock").open("a") as lock:
        fcntl.flock(lock, fcntl.LOCK_EX)
        started.append(subprocess.Popen(["sleep", "1"], pass_fds=[lock.fileno()], text=True))
    began = time.monotonic()
    with Stack(made, fast=True) as stack:
        assert time.monotonic() - began > 0.8
        assert query(stack.environment(), "SELECT 1") == [(1,)]


def test_a_start_says_so_when_something_does_not_end(made, started, monkeypatch):
    monkeypatch.setattr("vineyard.stack.supervisor._REMAINS_END_WITHIN_SECONDS", 0.2)
    with (made / "remains.lock").open("a") as lock:
        fcntl.flock(lock, fcntl.LOCK_EX)
        started.append(subprocess.Popen(["sleep", "60"], pass_fds=[lock.fileno()], text=True))
    with pytest.raises(StackError, match="earlier run still use"):
        Stack(made, fast=True).start()
    started[0].kill()
    started[0].wait()


def test_a_server_that_is_too_slow_to_answer_is_ended(made, monkeypatch):
    monkeypatch.setattr("vineyard.stack.postgres.STARTS_WITHIN_SECONDS", 0)
    before = family(os.getpid())
    with pytest.raises(StackError, match="PostgreSQL did not start"):
        Stack(made, fast=True).start()
    assert left_of([process for process in family(os.getpid()) if process not in before], within=0) == []


def test_what_the_server_says_is_passed_on_when_it_does_not_start(made):
    version = made / "postgres" / "PG_VERSION"
    version.write_text("17\n")
    with pytest.raises(StackError, match="version 17"):
        Stack(made, fast=True).start()
    version.write_text("18\n")
