"""Bring up what a command needs before Django reads its settings."""

from __future__ import annotations

import os
import secrets
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import Final

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
#: Commands that bring up and hold a stack of their own.
OWN_STACK: Final = {"demo", "serve"}
_NOBODY: Final = {
    "DATABASE_URL": "postgresql://nobody@nowhere/none",
    "BROKER_URL": "redis://nowhere:1/0",
}


def home() -> Path:
    """Give the folder under which stacks keep their files: ``STACK_HOME``, else ``.stack`` beside the code."""
    return Path(os.environ.get("STACK_HOME") or ROOT / ".stack")


def stack_folder(*, demo: bool) -> Path:
    """Give the folder of the stack: the invented scenario never shares one with real records."""
    return home() / ("demo" if demo else "serve")


@contextmanager
def prepared(argv: Sequence[str]) -> Iterator[None]:
    """Give a command its database and broker for as long as it runs; servers named by the environment are used as such.

    ``demo`` and ``serve`` bring up and hold their stack themselves; any other command uses a stack that runs,
    or one of its own for as long as it takes.
    """
    command = argv[1] if len(argv) > 1 else "help"
    if {"DATABASE_URL", "DATABASE_URL_FILE"} & os.environ.keys():
        yield
        return
    demo = command == "demo" or "--demo" in argv
    if command in WITHOUT_DATABASE:
        _set({**_NOBODY, "SECRET_KEY": secrets.token_urlsafe(48)})
        yield
        return
    if command not in OWN_STACK and _attached():
        yield
        return
    with _own_stack(demo=demo):
        yield


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
def _own_stack(*, demo: bool) -> Iterator[None]:
    from vineyard import holding  # noqa: PLC0415 - not installed where servers are named

    folder = stack_folder(demo=demo or os.environ.get("STACK") == "demo")
    with holding.stack_in(folder) as stack:
        _set({**stack.environment(), "SECRET_KEY": secret_of(folder)})
        yield


def secret_of(folder: Path) -> str:
    """Give the secret key of a stack, made at its first start and kept where only its owner reads."""
    file = folder / "secret_key"
    if not file.exists():
        folder.mkdir(parents=True, exist_ok=True)
        file.touch(mode=0o600)
        file.write_text(secrets.token_urlsafe(48), encoding="utf-8")
    return file.read_text(encoding="utf-8").strip()


def _set(environment: Mapping[str, str]) -> None:
    for name, value in environment.items():
        os.environ.setdefault(name, value)
