"""The owner's end of the guard."""

from __future__ import annotations

import contextlib
import os
import subprocess
import sys
from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import Final

GUARD: Final = Path(__file__).with_name("guard.py")
#: Longer than the guard needs when it has to kill what an interrupted stop left behind.
ENDS_WITHIN_SECONDS: Final = 10


class Guard:
    """A process that sees the owner end, and ends what the owner left running.

    Parameters
    ----------
    folder : Path, optional
        A folder of sockets to remove when all is over.
    held : sequence of int
        Open locks that it keeps until then.
    """

    def __init__(self, folder: Path | None = None, held: Sequence[int] = ()) -> None:
        self._argv = [sys.executable, "-I", "-S", str(GUARD), *([str(folder)] if folder else [])]
        self.held = tuple(held)
        self._process: subprocess.Popen[bytes] | None = None
        self._pipe = -1

    def stand(self, groups: Iterable[tuple[int, int]]) -> int:
        """Start it, or another one if somebody ended it, and give the pipe on which it listens.

        ``groups`` are those that live, each with the signal that asks it to stop.
        """
        if self._process is not None and self._process.poll() is None:
            return self._pipe
        self._close()
        listens, self._pipe = os.pipe()  # neither end reaches a program that is started later
        try:
            self._process = subprocess.Popen(  # noqa: S603 - a list of words, never a shell
                self._argv,
                stdin=listens,
                stdout=subprocess.DEVNULL,
                cwd="/",
                start_new_session=True,  # Ctrl-C and the end of the terminal are the owner's to hear
                pass_fds=self.held,
            )
        finally:
            os.close(listens)
        for pgid, number in groups:
            self._say(told(pgid, number))
        return self._pipe

    def forget(self, pgid: int) -> None:
        """Tell it that a group ended in order."""
        self._say(b"-%d\n" % pgid)

    def dismiss(self) -> None:
        """Let it go; it ends at once unless something is left."""
        self._close()
        if self._process is None:
            return
        try:
            self._process.wait(ENDS_WITHIN_SECONDS)
        except subprocess.TimeoutExpired:
            self._process.kill()
            self._process.wait()
        self._process = None

    def _say(self, line: bytes) -> None:
        with contextlib.suppress(OSError):  # somebody ended it; the next start of a child brings up another
            os.write(self._pipe, line)

    def _close(self) -> None:
        if self._pipe >= 0:
            os.close(self._pipe)
        self._pipe = -1


def told(pgid: int, number: int) -> bytes:
    """Write the line that names a group to the guard."""
    return b"+%d %d\n" % (pgid, number)
