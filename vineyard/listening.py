"""Where the service listens: the arguments that say so, the address that follows, and the refusal of a taken port."""

from __future__ import annotations

import json
import os
import socket
from argparse import ArgumentParser, ArgumentTypeError
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Final, NoReturn

DEFAULT_HOST: Final = "127.0.0.1"
DEFAULT_PORT: Final = 8000
_WILDCARDS: Final = {"0.0.0.0": DEFAULT_HOST, "::": "::1"}  # noqa: S104 - asked for, never the default


class CannotStart(Exception):
    """The command cannot start; the message is a sentence for whoever started it."""


@dataclass(frozen=True)
class Listening:
    """A host and port to listen on; port 0 takes one that is free."""

    host: str
    port: int

    @property
    def everywhere(self) -> bool:
        """Whether it listens on every address of the machine."""
        return self.host in _WILDCARDS

    @property
    def reached_at(self) -> str:
        """The host by which this machine itself reaches it."""
        host = _WILDCARDS.get(self.host, self.host)
        return f"[{host}]" if ":" in host else host

    @property
    def base_url(self) -> str:
        """The address of the service, without a slash at its end."""
        return f"http://{self.reached_at}:{self.port}"

    def settled(self) -> Listening:
        """Give the same with a free port in place of port 0."""
        return self if self.port else Listening(self.host, self._bind())

    def refuse_taken(self) -> None:
        """Refuse a port that is taken, before anything is started.

        Raises
        ------
        CannotStart
            With a sentence that says what to do.
        """
        try:
            self._bind()
        except OSError as error:
            raise CannotStart(
                f"Port {self.port} of {self.host} cannot be used: {error.strerror}. Choose another: --port."
            ) from error

    def _bind(self) -> int:
        with socket.socket(socket.AF_INET6 if ":" in self.host else socket.AF_INET) as probe:
            probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
            probe.bind((self.host, self.port))
            port: int = probe.getsockname()[1]
        return port


def add_arguments(parser: ArgumentParser) -> None:
    """Add the arguments of ``serve``."""
    parser.add_argument("--host", default=DEFAULT_HOST, help="address to listen on (default: this machine only)")
    parser.add_argument(
        "--port", type=port_number, default=DEFAULT_PORT, help="port to listen on; 0: any (default: 8000)"
    )
    parser.add_argument("--demo", action="store_true", help="load the invented scenario, with a key for each person")
    parser.add_argument("--ready-file", type=Path, help="write address (and, with --demo, keys) here once it answers")


def port_number(text: str) -> int:
    """Read a port number.

    Raises
    ------
    argparse.ArgumentTypeError
        It is no whole number from 0 to 65535.
    """
    if not (text.isascii() and text.isdigit() and int(text) <= 65_535):
        raise ArgumentTypeError(f"{text!r} is no port; a port is a whole number from 0 to 65535")
    return int(text)


class _Unreadable(Exception):
    """The arguments are not those of ``serve``."""


class _Parser(ArgumentParser):
    def error(self, message: str) -> NoReturn:
        raise _Unreadable(message)


def look_before_starting(arguments: Sequence[str]) -> bool:
    """Refuse what ``serve`` could only fail on later, and drop the ready file of a service that is gone.

    Gives whether the arguments can be read at all; if not, the command itself says what is wrong with them.

    Raises
    ------
    CannotStart
        The port is taken, or the ready file cannot be written.
    """
    parser = _Parser(add_help=False)
    add_arguments(parser)
    try:
        told, _ = parser.parse_known_args(list(arguments))
    except _Unreadable:
        return False
    Listening(told.host, told.port).refuse_taken()
    if told.ready_file:
        _drop_stale(told.ready_file)
    return True


def _drop_stale(file: Path) -> None:
    if not file.parent.is_dir() or file.is_dir():
        raise CannotStart(
            f"The ready file {file} cannot be written: {file.parent} must be a folder, and it a file in it."
        )
    if file.exists() and not _is_alive(file):
        file.unlink()


def _is_alive(file: Path) -> bool:
    """Tell whether the service that wrote a ready file still runs."""
    try:
        os.kill(int(json.loads(file.read_text(encoding="utf-8"))["pid"]), 0)
    except PermissionError:
        return True
    except (OSError, ValueError, KeyError, TypeError):
        return False
    return True
