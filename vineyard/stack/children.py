"""Processes that end when their owner ends: in order when it stops, and by a guard when it is killed."""

from __future__ import annotations

import ctypes
import os
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Final

import psutil

from vineyard.stack.guard import start_mark

GUARD: Final = Path(__file__).with_name("guard.py")
GRACE_SECONDS: Final = 15
_PR_SET_PDEATHSIG: Final = 1
_LINUX: Final[bool] = sys.platform.startswith("linux")


@dataclass(frozen=True)
class Child:
    """One child that leads a process group of its own, and the signal that asks it to stop."""

    name: str
    process: subprocess.Popen[bytes]
    stop_signal: signal.Signals
    serves_others: bool


@dataclass(frozen=True)
class Identity:
    """Whom a child runs as, where that is not the owner."""

    user: int
    group: int


class Children:
    """The children of one owner.

    On Linux the kernel signals a direct child when its owner dies; a guard process, which sees its pipe end,
    does the rest on every system: grandchildren, and children that do not listen.
    """

    def __init__(self) -> None:
        self._children: list[Child] = []
        self._guard: subprocess.Popen[bytes] | None = None

    def spawn(
        self,
        name: str,
        argv: Sequence[str],
        *,
        environment: Mapping[str, str] | None = None,
        log: Path | None = None,
        stop_signal: signal.Signals = signal.SIGTERM,
        identity: Identity | None = None,
        serves_others: bool = False,
    ) -> subprocess.Popen[bytes]:
        """Start a child in a process group of its own; its output goes to ``log``, else to ours.

        A child that serves others is stopped after those that do not.
        """
        self._start_guard()
        output = log.open("ab") if log else None
        try:
            process = subprocess.Popen(  # noqa: S603 - a list of words, never a shell
                list(argv),
                stdin=subprocess.DEVNULL,
                stdout=output,
                stderr=output,
                env={**os.environ, **(environment or {})},
                cwd="/" if identity else None,
                preexec_fn=_tied_to_parent(stop_signal),  # noqa: PLW1509 - system calls only
                user=identity.user if identity else None,
                group=identity.group if identity else None,
                extra_groups=[] if identity else None,
            )
        finally:
            if output:
                output.close()
        self._children.append(Child(name, process, stop_signal, serves_others))
        self._tell_guard(f"{process.pid} {start_mark(process.pid)} {stop_signal.value}\n")
        return process

    def forget(self, process: subprocess.Popen[bytes]) -> None:
        """Drop a child that ended by itself."""
        self._children = [child for child in self._children if child.process is not process]

    def ended(self) -> Child | None:
        """Give a child that has ended, if one has."""
        return next((child for child in self._children if child.process.poll() is not None), None)

    def stop(self) -> None:
        """Stop every child, servers of others last, and end whatever outlived its leader."""
        clients = [child for child in self._children if not child.serves_others]
        _stop_together(clients)
        for server in reversed([child for child in self._children if child.serves_others]):
            _stop_together([server])
        self._children.clear()
        self._tell_guard("done\n")
        if self._guard and self._guard.stdin:
            self._guard.stdin.close()
            self._guard.wait(5)
        self._guard = None

    def _start_guard(self) -> None:
        if self._guard is None:
            argv = [sys.executable, "-I", "-S", str(GUARD)]
            self._guard = subprocess.Popen(argv, stdin=subprocess.PIPE, cwd="/")  # noqa: S603

    def _tell_guard(self, line: str) -> None:
        if self._guard and self._guard.stdin:
            try:
                self._guard.stdin.write(line.encode())
                self._guard.stdin.flush()
            except BrokenPipeError:  # somebody ended the guard; the kernel's signal still ties direct children
                self._guard = None


def _stop_together(children: Sequence[Child]) -> None:
    for child in children:
        if child.process.poll() is None:
            child.process.send_signal(child.stop_signal)
    for child in children:
        _wait_or_kill(child.process)
        _sweep(child.process.pid)


def _wait_or_kill(process: subprocess.Popen[bytes]) -> None:
    try:
        process.wait(GRACE_SECONDS)
    except subprocess.TimeoutExpired:
        process.kill()
        process.wait()


def _sweep(pgid: int) -> None:
    """End what outlived the leader of a group, e.g. a server's worker that was still starting."""
    for sig in (signal.SIGTERM, signal.SIGKILL):
        for turn in range(20):
            try:
                os.killpg(pgid, sig if turn == 0 else 0)
            except OSError:
                return
            time.sleep(0.05)


def _tied_to_parent(stop_signal: signal.Signals) -> Callable[[], None]:
    """Give what a child does before it becomes its program: lead a group, and ask to be told of its owner's end."""
    owner = os.getpid()
    libc = ctypes.CDLL(None, use_errno=True) if _LINUX else None

    def prepare() -> None:
        os.setpgid(0, 0)  # Ctrl-C goes to the owner alone, which stops its children in order
        if libc is not None:
            libc.prctl(_PR_SET_PDEATHSIG, stop_signal.value)
            if os.getppid() != owner:  # it died before the kernel was asked
                os._exit(1)

    return prepare


def end_with_launcher() -> None:
    """End in order when the ``uv`` that launched us is killed; started any other way, change nothing."""
    launcher = psutil.Process().parent()
    if launcher is None or launcher.name() not in {"uv", "uvx"}:
        return
    if _LINUX:
        ctypes.CDLL(None, use_errno=True).prctl(_PR_SET_PDEATHSIG, signal.SIGTERM.value)
    else:
        threading.Thread(target=_watch, args=(launcher.pid,), daemon=True).start()


def _watch(launcher: int) -> None:
    while os.getppid() == launcher:
        time.sleep(0.5)
    os.kill(os.getpid(), signal.SIGTERM)
