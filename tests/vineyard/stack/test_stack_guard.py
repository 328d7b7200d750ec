"""The guard ends what it was told of, all of it, and nobody else."""

from __future__ import annotations

import signal
import subprocess
import time
from pathlib import Path

import psutil
import pytest

from vineyard.stack import Children
from vineyard.stack.guard import end, is_alive, read_groups, start_mark
from vineyard.stack.guarding import Guard


@pytest.fixture
def group(started):
    """A process that leads a group of its own."""
    process = subprocess.Popen(["sleep", "60"], process_group=0, text=True)
    started.append(process)
    return process


def test_a_group_is_ended_by_its_signal(group):
    end({group.pid: (start_mark(group.pid), signal.SIGINT)})
    assert group.wait(5) == -signal.SIGINT


@pytest.mark.skipif(not Path("/proc/self/stat").exists(), reason="without /proc the pid alone must do")
def test_a_pid_that_a_stranger_has_been_given_is_left_alone(group):
    end({group.pid: ("a mark of another time", signal.SIGKILL)})
    with pytest.raises(subprocess.TimeoutExpired):
        group.wait(0.2)


def test_members_that_outlived_their_leader_are_ended(started):
    leader = subprocess.Popen(["/bin/sh", "-c", "sleep 60 & echo up; read _"], process_group=0, text=True,
                              stdin=subprocess.PIPE, stdout=subprocess.PIPE)  # fmt: skip
    started.append(leader)
    mark = start_mark(leader.pid)
    assert leader.stdout is not None
    leader.stdout.readline()
    leader.kill()
    leader.wait()
    assert is_alive(leader.pid)
    end({leader.pid: (mark, signal.SIGTERM)})
    assert not is_alive(leader.pid)


def test_a_member_that_only_waits_to_be_struck_off_does_not_hold_it_up(group):
    group.kill()
    began = time.monotonic()
    end({group.pid: (start_mark(group.pid), signal.SIGTERM)})
    assert time.monotonic() - began < 1


def test_what_was_ended_in_order_is_off_its_list_and_half_a_line_is_no_harm():
    assert [*read_groups(["+501 2\n", "+502 15\n", "-501\n", "+50"])] == [502]


def test_one_that_takes_over_from_one_that_somebody_ended_knows_every_child():
    """It ends at its dismissal what no stop got to, as when a stop was interrupted."""
    guard, others = Guard(), psutil.Process().children()
    children = Children(guard)
    first = children.spawn("first", ["sleep", "60"])
    process = next(p for p in psutil.Process().children() if p not in others and p.pid != first.pid)
    process.kill()
    process.wait()
    second = children.spawn("second", ["sleep", "60"])
    guard.dismiss()
    assert [first.wait(5), second.wait(5)] == [-signal.SIGTERM] * 2
