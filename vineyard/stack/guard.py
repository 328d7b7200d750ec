"""Outlive the owner by a moment, and end what it left running.

Run as ``python -I -S guard.py`` with a pipe as standard input whose other end only the owner holds.  Each line
names a process group that the owner started: ``pgid start-mark signal``.  A line ``done`` means an orderly stop.
When the pipe ends without it, the owner was killed: every group that is still the same one gets its signal, a
short grace, and then SIGKILL.  Standard library only: it must start fast and depend on nothing.
"""

import contextlib
import os
import signal
import sys
import time

GRACE_SECONDS = 4.0


def start_mark(pid: int) -> str:
    """Give a mark of the process behind a pid, so that a recycled pid is not taken for it."""
    try:
        with open(f"/proc/{pid}/stat", "rb") as file:  # noqa: PTH123 - nothing but builtins is loaded here
            return file.read().rsplit(b")", 1)[1].split()[19].decode()
    except (OSError, IndexError):
        return "unknown"  # no /proc on this system: the pid alone must do


def alive(pgid: int) -> bool:
    """Tell whether a process group still has a member."""
    try:
        os.killpg(pgid, 0)
    except ProcessLookupError:
        return False
    except PermissionError:
        return True
    return True


def main() -> None:
    """Read groups until the pipe ends, then end them."""
    os.setsid()
    for ignored in (signal.SIGINT, signal.SIGTERM, signal.SIGHUP):
        signal.signal(ignored, signal.SIG_IGN)
    groups = []
    for line in sys.stdin:
        words = line.split()
        if words == ["done"]:
            return
        groups.append((int(words[0]), words[1], int(words[2])))
    # The leader of a group may be gone while its children live: only a leader with another mark is a stranger.
    ours = [(pgid, sig) for pgid, mark, sig in groups if start_mark(pgid) in {mark, "unknown"}]
    for pgid, sig in reversed(ours):
        with contextlib.suppress(OSError):
            os.killpg(pgid, sig)
    end = time.monotonic() + GRACE_SECONDS
    while time.monotonic() < end and any(alive(pgid) for pgid, _ in ours):
        time.sleep(0.05)
    for pgid, _ in ours:
        with contextlib.suppress(OSError):
            os.killpg(pgid, signal.SIGKILL)


if __name__ == "__main__":
    main()
