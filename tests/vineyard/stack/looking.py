"""What the tests of the stack look at: processes and answers."""

from __future__ import annotations

import contextlib
import os
import time
from collections.abc import Callable, Iterable
from pathlib import Path
from typing import Any

import psutil
import psycopg
import pytest

ROOT_ONLY = pytest.mark.skipif(os.geteuid() != 0, reason="only root can become another user or leave the network")


def family(pid: int) -> list[psutil.Process]:
    """Give the processes below one, the guard among them."""
    return psutil.Process(pid).children(recursive=True)


def child_of(pid: int, environment: dict[str, str], word: str) -> psutil.Process:
    """Give the child that serves a stack, found by its sockets, or its guard: the tests themselves run on another."""
    found = [
        process
        for process in psutil.Process(pid).children()
        if runs(process) and str(sockets_of(environment)) in (words := " ".join(process.cmdline())) and word in words
    ]
    assert len(found) == 1
    return found[0]


def each(processes: Iterable[psutil.Process], fact: Callable[[psutil.Process], Any]) -> list[Any]:
    """Ask each process that is still there for a fact: those that serve a connection come and go."""
    found = []
    for process in processes:
        with contextlib.suppress(psutil.NoSuchProcess, FileNotFoundError):
            found.append(fact(process))
    return found


def left_of(processes: list[psutil.Process], within: float = 8) -> list[psutil.Process]:
    """Give those that still run after a time; one that waits to be struck off does not run."""
    _, alive = psutil.wait_procs(processes, timeout=0)
    end = time.monotonic() + within
    while (alive := [process for process in alive if runs(process)]) and time.monotonic() < end:
        time.sleep(0.02)
    return alive


def runs(process: psutil.Process) -> bool:
    """Tell whether a process runs."""
    try:
        return process.is_running() and process.status() != psutil.STATUS_ZOMBIE
    except psutil.NoSuchProcess:
        return False


def query(environment: dict[str, str], statement: str, *, as_owner: bool = False) -> list[tuple[Any, ...]]:
    """Ask the database, as the role that serves or as the one that owns the tables."""
    address = environment["DATABASE_OWNER_URL" if as_owner else "DATABASE_URL"]
    with psycopg.connect(address, autocommit=True) as connection:
        cursor = connection.execute(statement)
        return cursor.fetchall() if cursor.description else []


def sockets_of(environment: dict[str, str]) -> Path:
    """Give the folder of a stack's sockets."""
    return Path(environment["BROKER_URL"].split("//")[1].split("?")[0]).parent
