"""Valkey as a child: on a private socket, nothing on the network."""

from __future__ import annotations

import contextlib
import socket
import time
from pathlib import Path
from typing import Final

from vineyard.stack.children import Children
from vineyard.stack.errors import StackError
from vineyard.stack.places import Places, valkey_binary

STARTS_WITHIN_SECONDS: Final = 10


def start_valkey(places: Places, children: Children, *, fast: bool) -> str:
    """Start Valkey and give its address as Celery writes it."""
    place = places.sockets / "valkey.sock"
    data = places.base / "valkey"
    data.mkdir(exist_ok=True)
    _end_orphan(place)
    place.unlink(missing_ok=True)
    argv = [str(valkey_binary()), "--port", "0", "--unixsocket", str(place), "--unixsocketperm", "700"]
    argv += ["--dir", str(data), "--save", "", "--appendonly", "no" if fast else "yes", "--daemonize", "no"]
    argv += ["--loglevel", "warning", "--maxmemory-policy", "noeviction"]
    log = places.base / "valkey.log"
    process = children.spawn("valkey", argv, log=log, serves_others=True)
    end = time.monotonic() + STARTS_WITHIN_SECONDS
    while time.monotonic() < end and process.poll() is None:
        if _says(place, b"PING\r\n").startswith(b"+PONG"):
            return f"redis+socket://{place}?virtual_host=0"
        time.sleep(0.02)
    raise StackError(f"Valkey did not start. It said:\n{log.read_text(errors='replace')[-2000:]}")


def _end_orphan(place: Path) -> None:
    """End a Valkey that outlived its owner: it would write into our file of commands."""
    if _says(place, b"PING\r\n").startswith(b"+PONG"):
        _says(place, b"SHUTDOWN\r\n")


def _says(place: Path, words: bytes) -> bytes:
    with contextlib.suppress(OSError), socket.socket(socket.AF_UNIX) as line:
        line.settimeout(1)
        line.connect(str(place))
        line.sendall(words)
        return line.recv(64)
    return b""
