"""Processes that end when their owner ends: in order when it stops, and by a guard when it is killed."""

from __future__ import annotations

import os
import signal
import subprocess
import threading
import time
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from vineyard.stack.guard import is_alive, is_same, send, start_mark, wait
from vineyard.stack.guarding import Guard, told
from vineyard.stack.kernel import signal_at_parents_end

GRACE_SECONDS: Final = 15
SWEPT_WITHIN_SECONDS: Final = 1


@dataclass(frozen=True)
class Identity:
    """Whom a child runs as, where that is not the owner."""

    user: int
    group: int


@dataclass(frozen=True)
class Manner:
    """How a child runs and stops.

    A child that serves others is stopped after those that do not, and holds the lock of its run until it is gone.
    """

    stop_signal: signal.Signals = signal.SIGTERM
    identity: Identity | None = None
    folder: Path | None = None
    serves_others: bool = False


@dataclass(frozen=True)
class Child:
    """One child, which leads a process group of its own."""

    name: str
    process: subprocess.Popen[bytes]
    manner: Manner
    mark: str


class Children:
    """The children of one owner.

    On Linux the kernel signals a direct child when its owner dies; a guard process, which sees its pipe end,
    does the rest on every system: grandchildren, and children that do not listen.
    """

    def __init__(self, guard: Guard | None = None) -> None:
        self._children: list[Child] = []
        self._guard = guard or Guard()

    def spawn(
        self,
        name: str,
        argv: Sequence[str],
        *,
        environment: Mapping[str, str] | None = None,
        log: Path | None = None,
        manner: Manner = Manner(),
    ) -> subprocess.Popen[bytes]:
        """Start a child in a process group of its own; its output goes to ``log``, else to ours."""
        pipe = self._guard.stand((child.process.pid, child.manner.stop_signal.value) for child in self._children)
        output = log.open("ab") if log else None
        identity = manner.identity
        try:
            process = subprocess.Popen(  # noqa: S603 - a list of words, never a shell
                list(argv),
                stdin=subprocess.DEVNULL,
                stdout=output,
                stderr=output,
                env={**os.environ, **(environment or {})},
                cwd=manner.folder,
                process_group=0,  # Ctrl-C goes to the owner alone, which stops its children in order
                preexec_fn=_tied_to_owner(pipe, manner.stop_signal),  # noqa: PLW1509 - system calls only
                pass_fds=self._guard.held if manner.serves_others else (),
                user=identity.user if identity else None,
                group=identity.group if identity else None,
                extra_groups=[] if identity else None,
            )
        finally:
            if output:
                output.close()
        self._children.append(Child(name, process, manner, start_mark(process.pid)))
        return process

    def ended(self) -> Child | None:
        """Give a child that has ended, if one has."""
        return next((child for child in self._children if child.process.poll() is not None), None)

    def forget(self, process: subprocess.Popen[bytes]) -> None:
        """Drop a child that ended by itself."""
        self._children = [child for child in self._children if child.process is not process]
        self._guard.forget(process.pid)

    def stop(self) -> None:
        """Stop every child, servers of others last and one after the other, and end whatever outlived its leader."""
        self._stop_together([child for child in self._children if not child.manner.serves_others])
        for server in reversed(self._children):
            self._stop_together([server])
        self._guard.dismiss()

    def _stop_together(self, children: Sequence[Child]) -> None:
        for child in reversed(children):
            if child.process.poll() is None:
                child.process.send_signal(child.manner.stop_signal)
        end = time.monotonic() + GRACE_SECONDS
        for child in reversed(children):
            _wait_or_kill(child.process, end)
            _sweep(child)
            self.forget(child.process)


def _wait_or_kill(process: subprocess.Popen[bytes], end: float) -> None:
    try:
        process.wait(max(end - time.monotonic(), 0.1))
    except subprocess.TimeoutExpired:
        process.kill()
        process.wait()


def _sweep(child: Child) -> None:
    """End what outlived the leader of a group, e.g. a server's worker that was still starting."""
    pgid = child.process.pid
    for number in (signal.SIGTERM, signal.SIGKILL):
        if not is_same(pgid, child.mark) or not is_alive(pgid):
            return
        send(pgid, number)
        wait([pgid], SWEPT_WITHIN_SECONDS)


def _tied_to_owner(pipe: int, stop_signal: signal.Signals) -> Callable[[], None]:
    """Give what a child does before it becomes its program: name itself to the guard, and follow its owner's end."""
    owner = os.getpid()
    # The kernel takes the thread that forks for the parent: a child of a thread that ends would end with it.
    lasts = threading.current_thread() is threading.main_thread()

    def prepare() -> None:
        os.write(pipe, told(os.getpid(), stop_signal.value))  # itself: no child lives that the guard does not know
        if lasts:
            signal_at_parents_end(stop_signal)
        if os.getppid() != owner:  # it died before the kernel was asked
            os._exit(1)

    return prepare
