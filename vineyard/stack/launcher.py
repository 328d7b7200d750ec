"""End with the program that launched us."""

from __future__ import annotations

import os
import signal
import threading
import time

import psutil

from vineyard.stack.kernel import LINUX, signal_at_parents_end

LAUNCHERS = frozenset({"uv", "uvx"})
_LOOKS_EVERY_SECONDS = 0.5


def end_with_launcher() -> None:
    """End in order when the ``uv`` that launched us is killed; started any other way, change nothing."""
    try:
        launcher = psutil.Process().parent()
        name = launcher.name() if launcher else ""
    except psutil.Error:  # it is just ending, or may not be looked at
        return
    if launcher is None or name not in LAUNCHERS:
        return
    if not LINUX:
        threading.Thread(target=_watch, args=(launcher.pid,), daemon=True).start()
        return
    signal_at_parents_end(signal.SIGTERM)
    if os.getppid() != launcher.pid:  # it ended before the kernel was asked
        os.kill(os.getpid(), signal.SIGTERM)


def _watch(launcher: int) -> None:
    while os.getppid() == launcher:
        time.sleep(_LOOKS_EVERY_SECONDS)
    os.kill(os.getpid(), signal.SIGTERM)
