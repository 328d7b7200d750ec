"""A second PostgreSQL from the same wheel that follows the first, by PostgreSQL's own streaming replication."""

from __future__ import annotations

import os
import shutil
import subprocess
import time
from pathlib import Path
from urllib.parse import urlsplit, urlunsplit

import psutil
import psycopg

from vineyard.stack import Children, Stack
from vineyard.stack.binaries import postgres_binaries
from vineyard.stack.guarding import Guard
from vineyard.stack.places import make_sockets_folder, places_for
from vineyard.stack.postgres import start_postgres


class Standby:
    """A streaming replica of a stack's PostgreSQL, in a folder of its own."""

    def __init__(self, primary: Stack, base: Path) -> None:
        self.primary = primary.environment()
        self._places = places_for(base.resolve())
        make_sockets_folder(self._places)
        self._children = Children(Guard(self._places.sockets))
        argv = [str(postgres_binaries() / "pg_basebackup"), "--pgdata", str(self._places.cluster), "--no-sync"]
        argv += ["--dbname", self.primary["DATABASE_BACKUP_URL"], "--write-recovery-conf", "--checkpoint", "fast"]
        subprocess.run(argv, check=True, capture_output=True, timeout=60)
        with (self._places.cluster / "postgresql.auto.conf").open("a") as said:
            said.write("wal_retrieve_retry_interval = '50ms'\n")  # tests would wait for the usual five seconds
        if self._places.identity:
            for path in (self._places.cluster, *self._places.cluster.rglob("*")):
                os.chown(path, self._places.identity.user, self._places.identity.group)
        self.superuser = ""
        self.start()

    @property
    def serving(self) -> str:
        """The address of the database as the role that serves."""
        place = urlsplit(self.superuser).netloc.split("@")[1]
        of_the_primary = urlsplit(self.primary["DATABASE_URL"])
        return urlunsplit(of_the_primary._replace(netloc=f"{of_the_primary.username}@{place}"))

    def start(self) -> None:
        self.superuser = start_postgres(self._places, self._children, fast=False)

    def processes(self) -> list[psutil.Process]:
        leader = psutil.Process(int((self._places.cluster / "postmaster.pid").read_text().split()[0]))
        return [leader, *leader.children(recursive=True)]

    def kill(self) -> None:
        """End every process of it at once, as a machine that loses its power does."""
        ended = self.processes()
        for process in ended:
            process.kill()
        for child in [child.process for child in self._children._children]:
            child.wait(10)
            self._children.forget(child)
        psutil.wait_procs(ended, 10)

    def freeze(self) -> None:
        """Let it hold its connections and say nothing on them."""
        for process in self.processes():
            process.suspend()

    def thaw(self) -> None:
        for process in self.processes():
            process.resume()

    def ask(self, sql: str) -> object:
        """Ask something as its superuser."""
        with psycopg.connect(self.superuser, autocommit=True) as connection:
            found = connection.execute(sql).fetchone()
        return found[0] if found else None

    def pause(self) -> None:
        """Let it replay nothing more of what it is sent, for now."""
        self.ask("SELECT pg_wal_replay_pause()")
        while self.ask("SELECT pg_get_wal_replay_pause_state()") != "paused":
            time.sleep(0.01)

    def resume(self) -> None:
        self.ask("SELECT pg_wal_replay_resume() WHERE pg_is_wal_replay_paused()")

    def be_well(self) -> None:
        """Let it run and follow, whatever was done to it."""
        if not any(child.process.poll() is None for child in self._children._children):
            self.start()
        self.resume()
        self.catch_up()

    def catch_up(self) -> None:
        """Wait until it has replayed everything that the primary has written."""
        with psycopg.connect(self.primary["DATABASE_BACKUP_URL"], autocommit=True) as connection:
            found = connection.execute("SELECT pg_current_wal_flush_lsn()").fetchone()
        assert found is not None
        end = time.monotonic() + 30
        while not self.ask(f"SELECT pg_last_wal_replay_lsn() >= '{found[0]}'::pg_lsn"):
            assert time.monotonic() < end, "the standby does not follow"
            time.sleep(0.01)

    def stop(self) -> None:
        """End it; what it holds is a copy, so nothing need be written down first."""
        self.kill()
        self._children.stop()
        shutil.rmtree(self._places.sockets, ignore_errors=True)
