"""Folders for stacks, and owners of stacks as processes of their own that a test may kill."""

from __future__ import annotations

import contextlib
import json
import os
import shutil
import signal
import subprocess
import sys
import tempfile
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

from vineyard.stack import Stack

OWNER = Path(__file__).with_name("owner.py")
Owner = tuple[subprocess.Popen[str], dict[str, str]]


def folder_for_everybody() -> Path:
    """Make a folder that every user of the machine can reach, unlike pytest's own."""
    folder = Path(tempfile.mkdtemp(prefix="vineyard-stack-"))
    folder.chmod(0o755)
    return folder


@pytest.fixture
def base() -> Iterator[Path]:
    """A folder without a stack."""
    folder = folder_for_everybody()
    yield folder
    shutil.rmtree(folder, ignore_errors=True)


@pytest.fixture(scope="session")
def made() -> Iterator[Path]:
    """A folder whose stack has run before and is down: every test leaves it so, or it could not be started again."""
    folder = folder_for_everybody()
    Stack(folder, fast=True).start().stop()
    yield folder
    shutil.rmtree(folder, ignore_errors=True)


@pytest.fixture
def started() -> Iterator[list[subprocess.Popen[str]]]:
    """Processes to end after the test."""
    processes: list[subprocess.Popen[str]] = []
    yield processes
    for process in processes:
        with contextlib.suppress(OSError):
            process.send_signal(signal.SIGTERM)
        try:
            process.wait(30)
        except subprocess.TimeoutExpired:
            process.kill()
            process.wait()
        for pipe in (process.stdout, process.stderr):
            if pipe:
                pipe.close()


@pytest.fixture
def launch(started: list[subprocess.Popen[str]]) -> Callable[..., subprocess.Popen[str]]:
    """Start an owner and do not wait for it."""

    def start(base: Path, *words: str, before: tuple[str, ...] = (), python: str = sys.executable, **how: Any) -> Any:
        argv = [*before, python, str(OWNER), str(base), *words]
        errors = (base / "owner.errors").open("a") if os.access(base, os.W_OK) else None
        process = subprocess.Popen(argv, stdout=subprocess.PIPE, stderr=errors, text=True, cwd="/", **how)
        started.append(process)
        return process

    return start


@pytest.fixture
def owner_of(launch: Callable[..., subprocess.Popen[str]]) -> Callable[..., Owner]:
    """Start an owner and give it with the environment of its stack, once that is up."""

    def start(base: Path, *words: str, **how: Any) -> Owner:
        process = launch(base, *words, **how)
        assert process.stdout is not None
        said = next((line for line in process.stdout if line.startswith("{")), None)
        if said is None:
            pytest.fail(f"the owner did not come up: {(base / 'owner.errors').read_text()}")
        environment: dict[str, str] = json.loads(said)
        return process, environment

    return start
