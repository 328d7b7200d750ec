"""Who owns the stack of a folder, and how others find it."""

from __future__ import annotations

import fcntl
import json
import os
from collections.abc import Mapping
from pathlib import Path
from typing import IO, Any, Final

#: Held by the owner for as long as it lives; holds its pid.
LOCK: Final = "stack.lock"
#: Held by the servers and the guard of one run: free only when the last of them is gone.
REMAINS_LOCK: Final = "remains.lock"
STATE: Final = "stack.json"


def try_lock(file: IO[Any], *, shared: bool = False) -> bool:
    """Take the lock of a file if nobody holds it; the kernel frees it when its last holder ends, however it ends."""
    try:
        fcntl.flock(file, (fcntl.LOCK_SH if shared else fcntl.LOCK_EX) | fcntl.LOCK_NB)
    except BlockingIOError:
        return False
    return True


def write_owner(lock: IO[Any]) -> None:
    """Write into the lock that this process holds whose it is."""
    lock.truncate(0)
    lock.write(str(os.getpid()))
    lock.flush()


def owner_of(base: Path) -> str:
    """Give the pid of the owner of a stack, as it wrote it down; empty where nothing can be read."""
    try:
        return (base / LOCK).read_text(encoding="utf-8").strip()
    except OSError:
        return ""


def write_state(base: Path, environment: Mapping[str, str]) -> None:
    """Tell others how to find the stack, whole or not at all."""
    fresh = base / f"{STATE}.{os.getpid()}"
    fresh.write_text(json.dumps({"pid": os.getpid(), "environment": dict(environment)}, indent=1), encoding="utf-8")
    fresh.replace(base / STATE)


def running_environment(base: Path) -> dict[str, str] | None:
    """Give the environment of the stack that another process owns in this folder; None where there is none.

    A stack that is still coming up is none yet.
    """
    try:
        with (base / LOCK).open(encoding="utf-8") as file:
            if try_lock(file, shared=True):
                return None  # nobody holds it: what the state file says is stale
        state = json.loads((base / STATE).read_text(encoding="utf-8"))
    except (OSError, ValueError):
        return None
    environment: dict[str, str] = state["environment"]
    return environment
