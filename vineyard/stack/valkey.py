"""Valkey as a child: on a private socket, nothing on the network."""

from __future__ import annotations

import contextlib
import socket
import subprocess
import time
from pathlib import Path
from typing import Final
from urllib.parse import quote

from vineyard.stack.binaries import valkey_binary
from vineyard.stack.children import Children, Manner
from vineyard.stack.errors import StackError
from vineyard.stack.places import Places

STARTS_WITHIN_SECONDS: Final = 10


def start_valkey(places: Places, children: Children, *, fast: bool) -> None:
    """Start Valkey; nothing of an earlier run may live any more."""
    place = socket_of(places)
    place.unlink(missing_ok=True)
    data = places.base / "valkey"
    data.mkdir(mode=0o700, exist_ok=True)
    argv = [str(valkey_binary()), "--port", "0", "--unixsocket", str(place), "--unixsocketperm", "700"]
    argv += ["--dir", str(data), "--save", "", "--appendonly", "no" if fast else "yes", "--daemonize", "no"]
    argv += ["--loglevel", "warning", "--maxmemory-policy", "noeviction"]
    log = places.base / "valkey.log"
    process = children.spawn("valkey", argv, log=log, manner=Manner(serves_others=True))
    if not _answers_in_time(place, process):
        raise StackError(f"Valkey did not start. It said:\n{log.read_text(errors='replace')[-2000:]}")


def socket_of(places: Places) -> Path:
    """Give the path of its socket."""
    return places.sockets / "valkey.sock"


def broker_address(places: Places) -> str:
    """Give its address as Celery writes it."""
    return f"redis+socket://{quote(str(socket_of(places)))}?virtual_host=0"


def cache_address(places: Places) -> str:
    """Give the address of its second database as the client library writes it."""
    return f"unix://{quote(str(socket_of(places)))}?db=1"


def end_orphan(places: Places) -> None:
    """End a Valkey that outlived its owner: it would write into our file of commands."""
    if _says(socket_of(places), b"PING\r\n").startswith(b"+PONG"):
        _says(socket_of(places), b"SHUTDOWN\r\n")


def _answers_in_time(place: Path, process: subprocess.Popen[bytes]) -> bool:
    end = time.monotonic() + STARTS_WITHIN_SECONDS
    while time.monotonic() < end and process.poll() is None:
        if _says(place, b"PING\r\n").startswith(b"+PONG"):
            return True
        time.sleep(0.02)
    return False


def _says(place: Path, words: bytes) -> bytes:
    with contextlib.suppress(OSError), socket.socket(socket.AF_UNIX) as line:
        line.settimeout(1)
        line.connect(str(place))
        line.sendall(words)
        return line.recv(64)
    return b""
