"""A stack serves one owner and leaves nothing behind, however that one ends."""

from __future__ import annotations

import os
import shutil
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Callable
from pathlib import Path

import psutil
import pytest

from tests.vineyard.stack.looking import child_of, each, family, left_of, query, runs, sockets_of
from vineyard.stack import Stack, StackBusy, running_environment

ROOT = Path(__file__).resolve().parents[3]


def test_kill_9_of_the_owner_leaves_no_process_and_the_next_start_has_every_commit(made, owner_of):
    owner, environment = owner_of(made, "durable", "deaf")
    query(environment, "CREATE TABLE kept_by_owner AS SELECT 48 AS nodes", as_owner=True)
    processes = family(owner.pid)
    assert {"postgres", "valkey-server", "sh", "sleep"} <= {*each(processes, psutil.Process.name)}
    owner.kill()
    assert left_of(processes) == []
    assert not sockets_of(environment).exists()
    _, again = owner_of(made)
    assert query(again, "SELECT nodes FROM kept_by_owner", as_owner=True) == [(48,)]


def test_the_next_start_works_at_once_three_kills_in_a_row(made, owner_of):
    for _ in range(3):
        owner, environment = owner_of(made)
        assert query(environment, "SELECT 1") == [(1,)]
        owner.kill()


def test_kill_9_while_the_cluster_is_being_made_is_no_harm(base, launch, owner_of):
    owner = launch(base)
    until((base / "postgres.new" / "PG_VERSION").exists)
    processes = family(owner.pid)
    owner.kill()
    _, environment = owner_of(base)
    assert left_of(processes, within=0) == []
    assert query(environment, "SELECT 1") == [(1,)]


def test_kill_9_of_the_database_loses_no_commit(made):
    with Stack(made) as stack:
        query(stack.environment(), "CREATE TABLE kept_by_server AS SELECT 48 AS nodes", as_owner=True)
        child_of(os.getpid(), stack.environment(), "bin/postgres").kill()
    with Stack(made) as stack:
        assert query(stack.environment(), "SELECT nodes FROM kept_by_server", as_owner=True) == [(48,)]


@pytest.mark.parametrize("number", [signal.SIGTERM, signal.SIGINT])
def test_an_orderly_stop_leaves_no_process_and_no_socket(number, made, owner_of):
    owner, environment = owner_of(made)
    processes = family(owner.pid)
    owner.send_signal(number)
    owner.wait(30)
    assert left_of(processes, within=0) == []
    assert not sockets_of(environment).exists()


def test_a_stop_ends_a_child_that_will_not_be_asked_and_its_child(made, owner_of, monkeypatch):
    monkeypatch.setattr("vineyard.stack.children.GRACE_SECONDS", 0.2)
    with Stack(made, fast=True) as stack:
        deaf = stack.spawn("deaf", ["/bin/sh", "-c", "trap '' TERM; sleep 300 & wait; sleep 300"])
        until(lambda: family(deaf.pid) != [])
        processes = [psutil.Process(deaf.pid), *family(deaf.pid)]
    assert left_of(processes, within=0) == []


def test_children_are_stopped_before_the_servers_that_they_use(made):
    script = (
        "import os, psycopg, signal, sys, time\n"
        "def last(*_):\n"
        "    psycopg.connect(os.environ['DATABASE_URL']).execute('SELECT 1'); print('answered', flush=True); sys.exit()\n"
        "signal.signal(signal.SIGTERM, last); print('up', flush=True); time.sleep(60)"
    )
    with Stack(made, fast=True) as stack:
        stack.spawn("client", [sys.executable, "-c", script], log=made / "client.log")
        until(lambda: "up" in (made / "client.log").read_text())
    assert (made / "client.log").read_text().split() == ["up", "answered"]


def test_children_are_stopped_at_the_same_time(made):
    slow = ["/bin/sh", "-c", "trap 'sleep 1; exit' TERM; echo up; sleep 60 & wait"]
    with Stack(made, fast=True) as stack:
        for name in ("first", "second", "third"):
            stack.spawn(name, slow, log=made / "slow.log")
        until(lambda: (made / "slow.log").read_text().count("up") == 3)
        began = time.monotonic()
    assert time.monotonic() - began < 2.5


def test_a_child_outlives_the_thread_that_started_it(made):
    with Stack(made, fast=True) as stack:
        thread = threading.Thread(target=stack.spawn, args=("sleeper", ["sleep", "60"]))
        thread.start()
        thread.join()
        time.sleep(0.2)
        assert stack.children.ended() is None


def test_a_second_starter_is_refused_with_the_owners_pid(made, owner_of):
    owner, _ = owner_of(made)
    with pytest.raises(StackBusy, match=f"process {owner.pid}.*stop it first"):
        Stack(made).start()


def test_an_owner_that_is_still_coming_up_is_the_one_that_is_named(made, owner_of, launch):
    """Not the one that was killed before it, whose state still lay there."""
    killed, _ = owner_of(made)
    killed.kill()
    owner = launch(made)
    until(lambda: (made / "stack.lock").read_text() == str(owner.pid))
    state = made / "stack.json"
    assert not state.exists() or str(owner.pid) in state.read_text()
    with pytest.raises(StackBusy, match=f"process {owner.pid}"):
        Stack(made).start()


def test_another_process_finds_a_running_stack_and_none_after_its_end(made, owner_of):
    owner, environment = owner_of(made)
    assert running_environment(made) == environment
    owner.kill()
    owner.wait()
    assert running_environment(made) is None


def test_a_folder_that_never_had_a_stack_has_none_running(tmp_path):
    assert running_environment(tmp_path / "nowhere") is None


def test_a_stack_that_is_not_up_stops_nothing_of_the_one_that_is(made, owner_of):
    _, environment = owner_of(made)
    Stack(made).stop()
    assert running_environment(made) == environment


def test_a_stack_can_be_started_again(made):
    stack = Stack(made, fast=True)
    for _ in range(2):
        with stack:
            assert query(stack.environment(), "SELECT 1") == [(1,)]


@pytest.mark.parametrize(("name", "ends"), [("uv", True), ("launcher", False)])
def test_it_ends_with_the_uv_that_launched_it_and_with_nobody_else(name, ends, tmp_path, started):
    shutil.copy("/bin/sh", tmp_path / name)
    said = tmp_path / "said"
    script = (
        f"import sys, time, os; sys.path.insert(0, {str(ROOT)!r}); from vineyard.stack import end_with_launcher\n"
        f"end_with_launcher(); open({str(said)!r}, 'w').write(str(os.getpid())); time.sleep(20)"
    )
    argv = [str(tmp_path / name), "-c", '"$@"; exit 1', "sh", sys.executable, "-c", script]
    launcher = subprocess.Popen(argv, text=True)
    started.append(launcher)
    until(lambda: said.exists() and said.read_text() != "")
    launched = psutil.Process(int(said.read_text()))
    launcher.kill()
    try:
        assert (left_of([launched], within=1 if not ends else 5) == []) is ends
    finally:
        if runs(launched):
            launched.kill()


def until(true: Callable[[], bool], within: float = 10) -> None:
    """Wait for something to come true."""
    end = time.monotonic() + within
    while not true():
        assert time.monotonic() < end, "it did not come true"
        time.sleep(0.005)
