"""Where the stack's files lie, and as whom its database runs."""

from __future__ import annotations

import hashlib
import os
import pwd
import subprocess
import tempfile
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from vineyard.stack.binaries import copy_for_everybody, postgres_binaries
from vineyard.stack.children import Identity
from vineyard.stack.errors import StackError

#: A socket's path has 103 bytes at most (macOS); ours takes 45 of them below the temporary folder.
LONGEST_TEMPORARY: Final = 58
#: The folder that a process works in, by a name that asks no right on the folders above it.
_HERE: Final = "/proc/self/cwd"


@dataclass(frozen=True)
class Places:
    """The folders of one stack.

    ``base`` belongs to whoever started it; ``sockets`` is short and private; ``binaries`` holds PostgreSQL's
    programs; ``identity`` is whom the database runs as, where that is not us; ``hidden`` says that this one cannot
    reach the base by its path.
    """

    base: Path
    sockets: Path
    binaries: Path
    identity: Identity | None = None
    hidden: bool = False

    @property
    def cluster(self) -> Path:
        return self.base / "postgres"

    def seen_by_database(self, folder: Path) -> str:
        """Name a folder to a program of the database that works in it."""
        return _HERE if self.hidden else str(folder)


def places_for(base: Path) -> Places:
    """Decide where the stack of this folder keeps its files.

    PostgreSQL refuses to run as root: root drops to ``nobody``, who gets a copy of the programs if it cannot reach
    them.  Folders above are never opened to it: it is put into its own and knows that one by no other name.
    """
    identity = _nobody() if os.geteuid() == 0 else None
    temporary = _temporary(identity)
    mark = hashlib.sha256(f"{os.getuid()}:{base}".encode()).hexdigest()[:10]
    sockets = temporary / f"vineyard-{os.getuid()}-{mark}"
    binaries = postgres_binaries()
    if not _reaches(identity, binaries / "postgres"):
        binaries = copy_for_everybody(binaries, temporary)
    hidden = not _reaches(identity, base)
    if hidden and not Path(_HERE).exists():
        raise StackError(
            f"PostgreSQL does not run as root, and 'nobody' cannot reach {base}. Start as a plain user, or set "
            "STACK_HOME to a folder that every user may enter."
        )
    return Places(base, sockets, binaries, identity, hidden)


def _nobody() -> Identity:
    try:
        entry = pwd.getpwnam("nobody")
    except KeyError:
        raise StackError(
            "PostgreSQL does not run as root, and this system has no user 'nobody'. Start as a plain user."
        ) from None
    return Identity(entry.pw_uid, entry.pw_gid)


def _temporary(identity: Identity | None) -> Path:
    """Give a temporary folder that is short enough for sockets and open to the database's user."""
    for folder in dict.fromkeys([tempfile.gettempdir(), "/tmp", "/var/tmp"]):  # noqa: S108 - made private below
        if len(os.fsencode(folder)) <= LONGEST_TEMPORARY and _reaches(identity, Path(folder)):
            return Path(folder)
    raise StackError(
        f"No temporary folder will do for sockets: it needs a path of {LONGEST_TEMPORARY} bytes at most that "
        "the database's user may enter. Set TMPDIR."
    )


def make_sockets_folder(places: Places) -> None:
    """Make the folder that only the database's user may enter, empty, or refuse one that is somebody else's.

    Nothing of an earlier run may live any more: a server that was killed leaves a lock that names its pid.
    """
    folder, identity = places.sockets, places.identity
    ours = {os.getuid(), identity.user if identity else os.getuid()}
    try:
        folder.mkdir(mode=0o700, exist_ok=True)
        opened = os.open(folder, os.O_RDONLY | os.O_DIRECTORY | os.O_NOFOLLOW)  # no name is looked up twice
    except OSError:
        raise _not_ours(folder) from None
    try:
        if os.fstat(opened).st_uid not in ours:
            raise _not_ours(folder)
        os.fchmod(opened, 0o700)
        if identity:
            os.fchown(opened, identity.user, identity.group)
        for name in os.listdir(opened):  # noqa: PTH208 - the folder that was looked at, not its name
            os.unlink(name, dir_fd=opened)
    finally:
        os.close(opened)


def _not_ours(folder: Path) -> StackError:
    return StackError(f"{folder} belongs to somebody else; remove it, or set TMPDIR to another folder.")


def _reaches(identity: Identity | None, path: Path) -> bool:
    if identity is None:
        return os.access(path, os.X_OK)
    probe = subprocess.run(  # noqa: S603
        ["/bin/sh", "-c", 'test -x "$0"', str(path)],
        cwd="/",
        user=identity.user,
        group=identity.group,
        extra_groups=[],
        check=False,
    )
    return probe.returncode == 0
