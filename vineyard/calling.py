"""Between RSGI and WSGI: the environment of a request, the call in a thread, and the answer's way back."""

from __future__ import annotations

import asyncio
import io
import sys
import uuid
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any, Final
from wsgiref.types import WSGIApplication, WSGIEnvironment

import orjson

from vineyard.api.problems import CONTENT_TYPE, KINDS, problem

#: An answer up to this size is gathered before it is sent, so that a slow reader holds no thread.
LARGEST_GATHERED: Final = 32_000_000
_BARE: Final = {"content-type": "CONTENT_TYPE", "content-length": "CONTENT_LENGTH"}


@dataclass(frozen=True)
class Answer:
    """A whole answer."""

    status: int
    headers: list[tuple[str, str]]
    body: bytes


def environ_of(scope: Any) -> WSGIEnvironment:
    """Give the environment that a WSGI application knows (PEP 3333), still without its body.

    A header with an underscore in its name is dropped: it would read like the one with a hyphen, and a client could
    say by it what only a proxy may say.
    """
    server, _, port = scope.server.rpartition(":")
    environ: WSGIEnvironment = {
        "REQUEST_METHOD": scope.method,
        "SCRIPT_NAME": "",
        "PATH_INFO": scope.path.encode("utf-8", "replace").decode("latin-1"),
        "QUERY_STRING": scope.query_string,
        "SERVER_NAME": server,
        "SERVER_PORT": port,
        "SERVER_PROTOCOL": f"HTTP/{scope.http_version}",
        "REMOTE_ADDR": scope.client.rpartition(":")[0].strip("[]"),
        "wsgi.version": (1, 0),
        "wsgi.url_scheme": scope.scheme,
        "wsgi.errors": sys.stderr,
        "wsgi.input_terminated": True,
        "wsgi.multithread": True,
        "wsgi.multiprocess": True,
        "wsgi.run_once": False,
    }
    if scope.authority:
        environ["HTTP_HOST"] = scope.authority
    for name, value in scope.headers.items():
        if "_" not in name:
            key = _BARE.get(name) or "HTTP_" + name.upper().replace("-", "_")
            environ[key] = f"{environ[key]}{';' if name == 'cookie' else ','}{value}" if key in environ else value
    return environ


class Streamed:
    """The way of an answer that is too large to be gathered: sent piece by piece from its own thread."""

    def __init__(self, loop: asyncio.AbstractEventLoop, protocol: Any, seconds: float) -> None:
        self._loop = loop
        self._protocol = protocol
        self._seconds = seconds

    def send(self, status: int, headers: list[tuple[str, str]], pieces: Iterator[bytes]) -> None:
        """Send every piece; a client that takes none for too long is left."""
        transport = self._protocol.response_stream(status, headers)
        for piece in pieces:
            asyncio.run_coroutine_threadsafe(_sent(transport, piece), self._loop).result(self._seconds)


async def _sent(transport: Any, piece: bytes) -> None:
    await transport.send_bytes(piece)


def call(inner: WSGIApplication, environ: WSGIEnvironment, body: bytes, stream: Streamed) -> Answer | None:
    """Call the application in this thread; give its answer, or nothing when it was streamed already."""
    environ["wsgi.input"] = io.BytesIO(body)
    said: list[tuple[int, list[tuple[str, str]]]] = []

    def start(status: str, headers: list[tuple[str, str]], _: Any = None) -> Any:
        said[:] = [(int(status[:3]), headers)]
        return _no_writing

    pieces = inner(environ, start)
    try:
        return _gathered(said, iter(pieces), stream)
    finally:
        if hasattr(pieces, "close"):
            pieces.close()


def _gathered(
    said: list[tuple[int, list[tuple[str, str]]]], pieces: Iterator[bytes], stream: Streamed
) -> Answer | None:
    gathered = bytearray()
    for piece in pieces:
        gathered += piece
        if len(gathered) > LARGEST_GATHERED:
            stream.send(*said[0], _first(bytes(gathered), pieces))
            return None
    return Answer(*said[0], bytes(gathered))


def _first(piece: bytes, rest: Iterator[bytes]) -> Iterator[bytes]:
    yield piece
    yield from rest


def _no_writing(_: bytes) -> None:
    raise NotImplementedError("an application gives its answer, it does not write it")


def refusal(environ: WSGIEnvironment, code: str, detail: str) -> Answer:
    """Give the answer to a request that no thread took up."""
    kind, request_id = KINDS[code], str(uuid.uuid4())
    body = problem(kind, detail, instance=environ["PATH_INFO"], request_id=request_id)
    headers = [("Content-Type", CONTENT_TYPE), ("X-Request-ID", request_id)]
    if kind.status in {429, 503}:
        headers.append(("Retry-After", "1"))
    if kind.status == 408:
        headers.append(("Connection", "close"))
    return Answer(kind.status, headers, orjson.dumps(body))
