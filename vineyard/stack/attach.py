"""Find a stack that another process of this machine owns."""

from __future__ import annotations

import fcntl
import json
from pathlib import Path
from typing import IO, Any

LOCK = "stack.lock"
STATE = "stack.json"


def try_lock(file: IO[Any]) -> bool:
    """Take the owner's lock if nobody holds it; the kernel frees it when its holder ends, however it ends."""
    try:
        fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except BlockingIOError:
        return False
    return True


def state_of(base: Path) -> dict[str, Any]:
    """Give what the owner of a stack wrote down of it; empty where nothing can be read."""
    try:
        state: dict[str, Any] = json.loads((base / STATE).read_text(encoding="utf-8"))
    except (OSError, ValueError):
        return {}
    return state


def running_environment(base: Path) -> dict[str, str] | None:
    """Give the environment of the stack that another process owns in this folder; None where there is none."""
    try:
        with (base / LOCK).open("r+") as file:
            if try_lock(file):
                return None  # nobody holds it: what the state file says is stale
    except OSError:
        return None
    environment: dict[str, str] | None = state_of(base).get("environment")
    return environment
