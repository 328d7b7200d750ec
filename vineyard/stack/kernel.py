"""The one service of the Linux kernel that Python has no name for."""

from __future__ import annotations

import ctypes
import signal
import sys
from typing import Final

LINUX: Final[bool] = sys.platform.startswith("linux")
_PR_SET_PDEATHSIG: Final = 1  # linux/prctl.h
# Loaded now: between fork and exec nothing may be loaded.
_LIBC: Final = ctypes.CDLL(None, use_errno=True) if LINUX else None


def signal_at_parents_end(number: signal.Signals) -> None:
    """Ask for a signal when the parent of this process ends; where the kernel has no such service, do nothing."""
    if _LIBC is not None:
        _LIBC.prctl(_PR_SET_PDEATHSIG, number.value)
