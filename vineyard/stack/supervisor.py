"""The stack of one folder: lock, start, environment, stop."""

from __future__ import annotations

import json
import os
import shutil
import subprocess
import time
from collections.abc import Mapping, Sequence
from pathlib import Path
from types import TracebackType
from typing import IO, Any, Self

from vineyard.stack.attach import LOCK, STATE, state_of, try_lock
from vineyard.stack.children import Children
from vineyard.stack.errors import StackBusy
from vineyard.stack.places import Places, places_for
from vineyard.stack.postgres import address, start_postgres
from vineyard.stack.roles import DATABASE, OWNER, SERVING, make_roles
from vineyard.stack.valkey import start_valkey


class Stack:
    """PostgreSQL and Valkey with their data in one folder, owned by this process.

    Parameters
    ----------
    base : Path
        The folder; made if missing.
    fast : bool
        For tests: quicker, and nothing need survive a crash of the machine.
    """

    def __init__(self, base: Path, *, fast: bool = False) -> None:
        self.base = base.resolve()
        self.fast = fast
        self.children = Children()
        self._places: Places | None = None
        self._lock: IO[Any] | None = None
        self._broker = ""

    def start(self) -> Self:
        """Bring both servers up, with the roles and the database.

        Raises
        ------
        StackBusy
            Another process owns the stack of this folder.
        StackError
            A server did not start, or has no build for this system.
        """
        self._take_lock()
        try:
            self._places = places_for(self.base)
            superuser = start_postgres(self._places, self.children, fast=self.fast)
            self._broker = start_valkey(self._places, self.children, fast=self.fast)
            make_roles(superuser, may_create_databases=self.fast)
        except BaseException:
            self.stop()
            raise
        state = {"pid": os.getpid(), "environment": self.environment()}
        (self.base / STATE).write_text(json.dumps(state, indent=1), encoding="utf-8")
        return self

    def environment(self) -> dict[str, str]:
        """Give the settings by which the service finds this stack."""
        if self._places is None:
            raise RuntimeError("the stack has not been started")
        return {
            "DATABASE_URL": address(self._places, SERVING, DATABASE),
            "DATABASE_OWNER_URL": address(self._places, OWNER, DATABASE),
            "BROKER_URL": self._broker,
        }

    def spawn(
        self,
        name: str,
        argv: Sequence[str],
        *,
        environment: Mapping[str, str] | None = None,
        log: Path | None = None,
    ) -> subprocess.Popen[bytes]:
        """Start a child that knows this stack and ends with it."""
        return self.children.spawn(name, argv, environment={**self.environment(), **(environment or {})}, log=log)

    def stop(self) -> None:
        """Stop every child, the youngest first, and let go of the folder."""
        self.children.stop()
        (self.base / STATE).unlink(missing_ok=True)
        if self._places:
            shutil.rmtree(self._places.sockets, ignore_errors=True)
        if self._lock:
            self._lock.close()
            self._lock = None

    def __enter__(self) -> Self:
        return self.start()

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.stop()

    def _take_lock(self) -> None:
        self.base.mkdir(parents=True, exist_ok=True)
        self._lock = (self.base / LOCK).open("a+")
        for _ in range(6):  # somebody who only looks whether it is held holds it for an instant
            if try_lock(self._lock):
                return
            time.sleep(0.05)
        self._lock.close()
        self._lock = None
        owner = state_of(self.base).get("pid", "another one")
        raise StackBusy(
            f"The stack in {self.base} belongs to process {owner}, which is running. Use that one, stop it first, or "
            "set STACK_HOME to another folder."
        )
