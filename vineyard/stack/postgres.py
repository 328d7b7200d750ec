"""PostgreSQL as a child: made once, started on a private socket, nothing on the network."""

from __future__ import annotations

import os
import shutil
import signal
import subprocess
import time
from dataclasses import replace
from pathlib import Path
from typing import Final
from urllib.parse import quote

import psutil
import psycopg

from vineyard.stack.children import Children, Manner
from vineyard.stack.errors import StackError
from vineyard.stack.places import Places

#: Names the socket only; said outright, or PGPORT in somebody's environment would move it.
PORT: Final = 5432
SUPERUSER: Final = "postgres"
OPTIONS: Final = {
    "listen_addresses": "",
    "port": str(PORT),
    "max_connections": "100",  # API_THREADS for each of two API processes, a worker, a scheduler, and the tests' own
    "shared_buffers": "128MB",
    "timezone": "UTC",
    "log_timezone": "UTC",
    # Errors go to whoever caused them; a server's log repeats the statement and with it what people sent.
    "log_min_messages": "log",
    "log_min_error_statement": "panic",
    "cluster_name": "vineyard",
    "jit": "off",
}
#: What is acknowledged survives a crash of the machine.
DURABLE_OPTIONS: Final = {"fsync": "on", "synchronous_commit": "on", "full_page_writes": "on"}
#: For tests: nothing need survive a crash of the machine.
FAST_OPTIONS: Final = {
    "fsync": "off",
    "full_page_writes": "off",
    "synchronous_commit": "off",
    "wal_level": "minimal",
    "max_wal_senders": "0",
}
STARTS_WITHIN_SECONDS: Final = 60
ENDS_WITHIN_SECONDS: Final = 30
#: Its words are read by us and by whoever reads the log; on macOS it does not start without.
_ENVIRONMENT: Final = {"LC_ALL": "C"}


def start_postgres(places: Places, children: Children, *, fast: bool) -> str:
    """Start PostgreSQL and give the address of its superuser.

    Nothing of an earlier run may live any more: then a pid file is stale, whatever its number means today.
    """
    log = places.base / "postgres.log"
    _make_cluster(places, children, log, fast=fast)
    (places.cluster / "postmaster.pid").unlink(missing_ok=True)
    argv = [str(places.binaries / "postgres"), "-D", places.seen_by_database(places.cluster)]
    argv += ["-c", f"unix_socket_directories={places.sockets}"]
    for name, value in {**OPTIONS, **(FAST_OPTIONS if fast else DURABLE_OPTIONS)}.items():
        argv += ["-c", f"{name}={value}"]
    beginning = _size(log)
    process = children.spawn(
        "postgres", argv, environment=_ENVIRONMENT, log=log, manner=_manner(places, places.cluster)
    )
    superuser = address(places, SUPERUSER, "postgres")
    if not _answers_in_time(superuser, process):
        raise StackError(f"PostgreSQL did not start. It said:\n{_said(log, beginning)}")
    return superuser


def address(places: Places, user: str, database: str) -> str:
    """Give an address on the private socket."""
    return f"postgresql://{user}@{quote(str(places.sockets), safe='')}:{PORT}/{database}"


def end_orphan(cluster: Path) -> None:
    """End a PostgreSQL that outlived its owner, which happens where children do not die with their parent.

    Raises
    ------
    StackError
        It does not end.
    """
    orphan = _orphan(cluster)
    if orphan is None:
        return
    try:
        orphan.send_signal(signal.SIGINT)
        orphan.wait(ENDS_WITHIN_SECONDS)
    except psutil.NoSuchProcess:
        return
    except psutil.TimeoutExpired:
        raise StackError(f"Process {orphan.pid} of an earlier run still serves {cluster}. End it first.") from None


def _orphan(cluster: Path) -> psutil.Process | None:
    """Give the PostgreSQL that the pid file names; a pid that another program has been given since is none."""
    try:
        process = psutil.Process(int((cluster / "postmaster.pid").read_text(encoding="utf-8").split()[0]))
        if "postgres" in process.name() and process.cwd() == str(cluster):
            return process
    except (OSError, ValueError, IndexError, psutil.Error):
        pass
    return None


def _manner(places: Places, folder: Path) -> Manner:
    return Manner(signal.SIGINT, places.identity, folder, serves_others=True)


def _make_cluster(places: Places, children: Children, log: Path, *, fast: bool) -> None:
    """Make the cluster under another name first: a start that is killed leaves none that is half made."""
    if (places.cluster / "PG_VERSION").exists():
        return
    fresh = places.cluster.with_name("postgres.new")
    for folder in (fresh, places.cluster):
        shutil.rmtree(folder, ignore_errors=True)
    fresh.mkdir(mode=0o700)
    if places.identity:
        os.chown(fresh, places.identity.user, places.identity.group)
    argv = [str(places.binaries / "initdb"), "-D", places.seen_by_database(fresh), "-U", SUPERUSER, "-A", "trust"]
    argv += ["-E", "UTF8", "--locale-provider=builtin", "--builtin-locale=C.UTF-8", "--locale=C"]
    argv += ["--no-sync"] if fast else []
    beginning = _size(log)
    manner = replace(_manner(places, fresh), stop_signal=signal.SIGKILL)  # nobody wants half of it
    process = children.spawn("initdb", argv, environment=_ENVIRONMENT, log=log, manner=manner)
    failed = process.wait()
    children.forget(process)
    if failed:
        raise StackError(f"initdb failed. It said:\n{_said(log, beginning)}")
    fresh.rename(places.cluster)


def _answers_in_time(superuser: str, process: subprocess.Popen[bytes]) -> bool:
    end = time.monotonic() + STARTS_WITHIN_SECONDS
    while time.monotonic() < end and process.poll() is None:
        try:
            psycopg.connect(superuser, connect_timeout=2).close()
        except psycopg.OperationalError:
            time.sleep(0.02)
        else:
            return True
    return False


def _size(log: Path) -> int:
    return log.stat().st_size if log.exists() else 0


def _said(log: Path, beginning: int) -> str:
    return log.read_bytes()[beginning:].decode(errors="replace").strip()[-2000:]
