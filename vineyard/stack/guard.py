"""Outlive the owner by a moment, and end what it left running.

Run as ``python -I -S guard.py [FOLDER]`` with a pipe as standard input whose other end only the owner holds.
``+PGID SIGNAL`` names a process group that was started, and ``-PGID`` one that was ended in order.  When the pipe
ends, so has the owner: every group still on the list, and still the same one, gets its signal, a short grace, and
then SIGKILL; the folder of sockets goes last.  Standard library only: it must start fast and depend on nothing.
"""

from __future__ import annotations

import contextlib
import os
import signal
import sys
import time
from collections.abc import Iterable

GRACE_SECONDS = 4.0
KILLED_WITHIN_SECONDS = 2.0
UNKNOWN = ""


def facts_of(pid: int | str) -> list[str]:
    """Give what Linux says of a process after its name, state first (proc_pid_stat(5)); empty where it says nothing."""
    try:
        with open(f"/proc/{pid}/stat", "rb") as file:  # noqa: PTH123 - pathlib would double the start-up time
            return file.read().rpartition(b")")[2].decode().split()
    except OSError:
        return []


def start_mark(pid: int) -> str:
    """Give a mark of the process behind a pid, so that a recycled pid is not taken for it."""
    facts = facts_of(pid)
    return facts[19] if facts else UNKNOWN  # it is gone, or this system has no /proc: the pid alone must do


def is_same(pgid: int, mark: str) -> bool:
    """Tell whether a group is still the one that was started.

    Its leader may be gone while its members live, and then its pid is not given to anybody: only a leader with
    another mark is a stranger.
    """
    now = start_mark(pgid)
    return mark == now or UNKNOWN in {mark, now}


def is_alive(pgid: int) -> bool:
    """Tell whether a process group still has a member that is more than a name waiting to be struck off."""
    try:
        os.killpg(pgid, 0)
    except ProcessLookupError:
        return False
    except PermissionError:
        return True
    if not os.path.exists("/proc/self/stat"):  # noqa: PTH110
        return True
    members = (facts for name in os.listdir("/proc") if name.isdigit() and (facts := facts_of(name)))  # noqa: PTH208
    return any(int(facts[2]) == pgid and facts[0] not in "ZX" for facts in members)


def read_groups(lines: Iterable[str]) -> dict[int, tuple[str, int]]:
    """Follow what the owner says until it ends; give mark and signal of each group that it leaves behind."""
    groups: dict[int, tuple[str, int]] = {}
    for line in lines:
        with contextlib.suppress(ValueError):  # half a line: the owner ended while it wrote
            pgid, *number = map(int, line.split())
            if number:
                groups[pgid] = (start_mark(pgid), number[0])
            else:
                groups.pop(-pgid, None)
    return groups


def end(groups: dict[int, tuple[str, int]]) -> None:
    """Ask each group to end, the youngest first, and kill those that do not."""
    ours = {pgid: number for pgid, (mark, number) in groups.items() if is_same(pgid, mark)}
    for pgid, number in reversed(ours.items()):
        send(pgid, number)
    wait(ours, GRACE_SECONDS)
    for pgid in ours:
        send(pgid, signal.SIGKILL)
    wait(ours, KILLED_WITHIN_SECONDS)


def send(pgid: int, number: int) -> None:
    """Signal a group, if it still has a member."""
    with contextlib.suppress(OSError):
        os.killpg(pgid, number)


def wait(pgids: Iterable[int], seconds: float) -> None:
    """Wait until no group has a member, so long at most."""
    end_at = time.monotonic() + seconds
    while time.monotonic() < end_at and any(is_alive(pgid) for pgid in pgids):
        time.sleep(0.02)


def remove(folder: str) -> None:
    """Remove a folder of sockets."""
    with contextlib.suppress(OSError):
        for name in os.listdir(folder):  # noqa: PTH208 - pathlib would double the start-up time
            os.unlink(f"{folder}/{name}")  # noqa: PTH108
        os.rmdir(folder)  # noqa: PTH106


def main() -> None:
    """Read groups until the pipe ends, then end them."""
    for ignored in (signal.SIGINT, signal.SIGTERM, signal.SIGHUP):
        signal.signal(ignored, signal.SIG_IGN)
    end(read_groups(sys.stdin))
    for folder in sys.argv[1:]:
        remove(folder)


if __name__ == "__main__":
    main()
