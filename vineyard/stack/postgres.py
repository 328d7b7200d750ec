"""PostgreSQL as a child: made once, started on a private socket, nothing on the network."""

from __future__ import annotations

import os
import shutil
import signal
import subprocess
import time
from pathlib import Path
from typing import Final
from urllib.parse import quote

import psutil
import psycopg

from vineyard.stack.children import Children
from vineyard.stack.errors import StackError
from vineyard.stack.places import Places

OPTIONS: Final = {
    "listen_addresses": "",
    "max_connections": "60",
    "shared_buffers": "128MB",
    "timezone": "UTC",
    "log_min_messages": "warning",
    "cluster_name": "vineyard",
    "jit": "off",
}
#: For tests: nothing need survive a crash of the machine.
FAST_OPTIONS: Final = {
    "fsync": "off",
    "full_page_writes": "off",
    "synchronous_commit": "off",
    "wal_level": "minimal",
    "max_wal_senders": "0",
}
STARTS_WITHIN_SECONDS: Final = 60


def start_postgres(places: Places, children: Children, *, fast: bool) -> str:
    """Start PostgreSQL and give the address of its superuser."""
    _make_cluster(places)
    log = places.base / "postgres.log"
    argv = [str(places.binaries / "postgres"), "-D", str(places.cluster)]
    for name, value in {
        **OPTIONS,
        **(FAST_OPTIONS if fast else {}),
        "unix_socket_directories": str(places.sockets),
    }.items():
        argv += ["-c", f"{name}={value}"]
    for _ in range(40):  # an orphan of a killed owner may still be shutting down
        beginning = log.stat().st_size if log.exists() else 0
        process = children.spawn(
            "postgres", argv, log=log, stop_signal=signal.SIGINT, identity=places.identity, serves_others=True
        )
        if _answers_in_time(places, process):
            return address(places, "postgres", "postgres")
        children.forget(process)
        said = log.read_bytes()[beginning:].decode(errors="replace")
        if not _held_by_another(said):
            raise StackError(f"PostgreSQL did not start. It said:\n{said[-2000:]}")
        _let_go(places.cluster)
        time.sleep(0.25)
    raise StackError(f"PostgreSQL did not start: another one holds {places.cluster}. See {log}.")


def address(places: Places, user: str, database: str) -> str:
    """Give an address on the private socket."""
    return f"postgresql://{user}@{quote(str(places.sockets), safe='')}/{database}"


def _make_cluster(places: Places) -> None:
    cluster = places.cluster
    if (cluster / "PG_VERSION").exists() and (cluster / "complete").exists():
        return
    shutil.rmtree(cluster, ignore_errors=True)  # half made by a start that was killed
    cluster.mkdir(mode=0o700, parents=True)
    identity = places.identity
    if identity:
        os.chown(cluster, identity.user, identity.group)
    argv = [
        str(places.binaries / "initdb"),
        "-D",
        str(cluster),
        "-U",
        "postgres",
        "-A",
        "trust",
        "-E",
        "UTF8",
    ]
    argv += ["--locale-provider=builtin", "--builtin-locale=C.UTF-8", "--locale=C", "-N"]
    made = subprocess.run(  # noqa: S603
        argv,
        capture_output=True,
        text=True,
        cwd="/",
        check=False,
        user=identity.user if identity else None,
        group=identity.group if identity else None,
        extra_groups=[] if identity else None,
    )
    if made.returncode:
        shutil.rmtree(cluster, ignore_errors=True)
        raise StackError(f"initdb failed: {made.stderr.strip()}")
    (cluster / "complete").touch()


def _answers_in_time(places: Places, process: subprocess.Popen[bytes]) -> bool:
    end = time.monotonic() + STARTS_WITHIN_SECONDS
    while time.monotonic() < end and process.poll() is None:
        if _is_ours(places.cluster, process.pid) and _connects(places):
            return True
        time.sleep(0.02)
    return False


def _is_ours(cluster: Path, pid: int) -> bool:
    """Tell whether it is our child that answers: an orphan listens on the same socket."""
    return _pid_written(cluster) == pid


def _pid_written(cluster: Path) -> int | None:
    try:
        return int((cluster / "postmaster.pid").read_text().split()[0])
    except (OSError, ValueError, IndexError):
        return None


def _connects(places: Places) -> bool:
    try:
        psycopg.connect(address(places, "postgres", "postgres"), connect_timeout=2).close()
    except psycopg.OperationalError:
        return False
    return True


def _held_by_another(said: str) -> bool:
    return any(words in said for words in ("another postmaster", "still in use", "lock file"))


def _let_go(cluster: Path) -> None:
    """Ask an orphan to shut down, or drop a stale pid file.

    We hold the owner's lock, so whatever the file names is no living owner's: an orphan on a system where
    children do not die with their parent, or a pid that another program has been given since.
    """
    pid = _pid_written(cluster)
    try:
        process = psutil.Process(pid) if pid else None
        if process and "postgres" in process.name() and str(cluster) in process.cmdline():
            process.send_signal(signal.SIGINT)
            return
    except psutil.Error:
        pass
    (cluster / "postmaster.pid").unlink(missing_ok=True)
