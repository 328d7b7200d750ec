"""The stack of one folder: lock, start, environment, stop."""

from __future__ import annotations

import shutil
import subprocess
import time
from collections.abc import Mapping, Sequence
from contextlib import ExitStack
from pathlib import Path
from types import TracebackType
from typing import IO, Any, Final, Self

from vineyard.stack import postgres, valkey
from vineyard.stack.attach import LOCK, REMAINS_LOCK, STATE, owner_of, try_lock, write_owner, write_state
from vineyard.stack.children import Children
from vineyard.stack.errors import StackBusy, StackError
from vineyard.stack.guarding import Guard
from vineyard.stack.places import Places, make_sockets_folder, places_for
from vineyard.stack.roles import DATABASE, OWNER, SERVING, make_roles

#: Somebody who only looks whether a lock is held holds it for an instant.
_AN_INSTANT_SECONDS: Final = 0.3
_REMAINS_END_WITHIN_SECONDS: Final = 30.0


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
        self._held: ExitStack | None = None

    def start(self) -> Self:
        """Bring both servers up, with the roles and the database.

        Raises
        ------
        StackBusy
            Another process owns the stack of this folder.
        StackError
            A server did not start, or has no build for this system.
        """
        if self._held:
            raise StackBusy(f"This process has started the stack in {self.base} already.")
        try:
            self._own()
            self._bring_up()
        except OSError as error:
            self.stop()
            raise StackError(f"The stack in {self.base} cannot come up: {error}.") from error
        except BaseException:
            self.stop()
            raise
        return self

    def environment(self) -> dict[str, str]:
        """Give the settings by which the service finds this stack."""
        if self._places is None:
            raise RuntimeError("the stack has not been started")
        return {
            "DATABASE_URL": postgres.address(self._places, SERVING, DATABASE),
            "DATABASE_OWNER_URL": postgres.address(self._places, OWNER, DATABASE),
            "DATABASE_BACKUP_URL": postgres.address(self._places, postgres.SUPERUSER, DATABASE),
            "BROKER_URL": valkey.broker_address(self._places),
            "CACHE_URL": valkey.cache_address(self._places),
        }

    def spawn(
        self,
        name: str,
        argv: Sequence[str],
        *,
        environment: Mapping[str, str] | None = None,
        log: Path | None = None,
    ) -> subprocess.Popen[bytes]:
        """Start a child that knows this stack and ends with it; its output goes to ``log``, else to ours."""
        return self.children.spawn(name, argv, environment={**self.environment(), **(environment or {})}, log=log)

    def stop(self) -> None:
        """Stop every child, servers last, and let go of the folder; a stack that is not up stays as it is."""
        if self._held is None:
            return
        self.children.stop()
        (self.base / STATE).unlink(missing_ok=True)
        if self._places:
            shutil.rmtree(self._places.sockets, ignore_errors=True)
        self._held.close()
        self._held = self._places = None

    def __enter__(self) -> Self:
        return self.start()

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.stop()

    def _own(self) -> None:
        """Take the folder, or refuse it if another process has it."""
        self.base.mkdir(parents=True, exist_ok=True)
        with ExitStack() as held:
            lock = held.enter_context((self.base / LOCK).open("a+", encoding="utf-8"))
            if not _lock_within(lock, _AN_INSTANT_SECONDS):
                raise StackBusy(
                    f"The stack in {self.base} belongs to process {owner_of(self.base) or 'another one'}, which is "
                    "running. Use that one, stop it first, or set STACK_HOME to another folder."
                )
            (self.base / STATE).unlink(missing_ok=True)  # of an owner that was killed
            write_owner(lock)
            self._held = held.pop_all()

    def _bring_up(self) -> None:
        places = places_for(self.base)
        remains = self._outlive_earlier_run(places)
        self._places = places
        self.children = Children(Guard(places.sockets, held=[remains.fileno()]))
        superuser = postgres.start_postgres(places, self.children, fast=self.fast)
        valkey.start_valkey(places, self.children, fast=self.fast)
        make_roles(superuser, may_create_databases=self.fast)
        write_state(self.base, self.environment())

    def _outlive_earlier_run(self, places: Places) -> IO[Any]:
        """Wait until nothing of an owner that was killed lives any more, and take over the lock of its servers.

        They and their guard are ending by themselves as a rule; one that is not is asked to.
        """
        if self._held is None:
            raise RuntimeError("the folder has not been taken")
        postgres.end_orphan(places.cluster)
        valkey.end_orphan(places)
        remains = self._held.enter_context((self.base / REMAINS_LOCK).open("a+", encoding="utf-8"))
        if not _lock_within(remains, _REMAINS_END_WITHIN_SECONDS):
            raise StackError(f"Processes of an earlier run still use {self.base}. End them first.")
        make_sockets_folder(places)  # not before: their guard removes it
        return remains


def _lock_within(file: IO[Any], seconds: float) -> bool:
    end = time.monotonic() + seconds
    while not try_lock(file):
        if time.monotonic() > end:
            return False
        time.sleep(0.02)
    return True
