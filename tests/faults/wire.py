"""A wire to PostgreSQL that is cut at the n-th statement: before it arrives, or after it was carried out.

It counts what the driver sends until it waits for an answer (a simple query, or everything up to a Sync message of
PostgreSQL's protocol), BEGIN and COMMIT included; so no place is forgotten that code could have been wrong at.
"""

from __future__ import annotations

import contextlib
import socket
import struct
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

ENDS_A_STATEMENT = {b"Q", b"S"}
READY_FOR_QUERY = b"Z\x00\x00\x00\x05"
#: The database has begun a COPY and waits for its lines.
COPY_IN = b"G\x00\x00"


class Wire:
    """Listens on this machine and passes everything on to the socket of the database.

    ``cut_at`` 0 cuts nothing; ``statements`` counts since the last ``arm``; ``was_cut`` says that the fault bit.
    """

    def __init__(self, upstream: Path) -> None:
        self._upstream = upstream
        self._listener = socket.create_server(("127.0.0.1", 0))
        self.port: int = self._listener.getsockname()[1]
        self.arm(0)

    def arm(self, cut_at: int, *, carried_out: bool = False) -> None:
        """Cut at this statement from now on: before it arrives, or once it is ``carried_out``."""
        self.cut_at, self.carried_out = cut_at, carried_out
        self.statements, self.was_cut = 0, False

    def accept(self) -> None:
        """Serve until closed."""
        with contextlib.suppress(OSError):
            while True:
                near, _ = self._listener.accept()
                far = socket.socket(socket.AF_UNIX)
                far.connect(str(self._upstream))
                threading.Thread(target=self._there, args=(near, far), daemon=True).start()
                threading.Thread(target=self._back, args=(near, far), daemon=True).start()

    def close(self) -> None:
        self._listener.shutdown(socket.SHUT_RDWR)
        self._listener.close()

    def _there(self, near: socket.socket, far: socket.socket) -> None:
        with contextlib.suppress(OSError, EOFError):
            far.sendall(_startup(near))
            while True:
                kind, message = _message(near)
                if kind in ENDS_A_STATEMENT:
                    self.statements += 1
                    if self.statements == self.cut_at and not self.carried_out:
                        self.was_cut = True
                        break
                far.sendall(message)
        _end(near, far)

    def _back(self, near: socket.socket, far: socket.socket) -> None:
        """Pass answers on; the answer to the statement that is cut is waited for and dropped."""
        tail = b""
        with contextlib.suppress(OSError):
            while part := far.recv(65_536):
                if self.cut_at and self.carried_out and self.statements >= self.cut_at:
                    tail = (tail + part)[-6:]
                    if tail.startswith(READY_FOR_QUERY) or COPY_IN in part:
                        self.was_cut = True
                        break
                    continue
                near.sendall(part)
        _end(near, far)


def _startup(near: socket.socket) -> bytes:
    length = _exactly(near, 4)
    return length + _exactly(near, struct.unpack("!I", length)[0] - 4)


def _message(near: socket.socket) -> tuple[bytes, bytes]:
    head = _exactly(near, 5)
    return head[:1], head + _exactly(near, struct.unpack("!I", head[1:])[0] - 4)


def _exactly(near: socket.socket, length: int) -> bytes:
    read = b""
    while len(read) < length:
        part = near.recv(length - len(read))
        if not part:
            raise EOFError
        read += part
    return read


def _end(*ends: socket.socket) -> None:
    for end in ends:
        with contextlib.suppress(OSError):
            end.shutdown(socket.SHUT_RDWR)


@contextmanager
def wire_to(upstream: Path) -> Iterator[Wire]:
    """Lay a wire to the database whose socket this is."""
    wire = Wire(upstream)
    thread = threading.Thread(target=wire.accept, daemon=True)
    thread.start()
    try:
        yield wire
    finally:
        wire.close()
        thread.join(10)
