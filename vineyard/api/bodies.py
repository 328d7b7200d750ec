"""A body is taken whole or not at all: one that ends before its announced length is no body.

A phone that loses its network in mid-request may leave a piece that reads like a complete document.
"""

from __future__ import annotations

from typing import Any, Final, Protocol
from wsgiref.types import StartResponse, WSGIApplication, WSGIEnvironment

from django.conf import settings
from django.core.exceptions import SuspiciousOperation

from records.bulk import LARGEST_BODY

ENDED_EARLY: Final = (
    "The body ended before the length that Content-Length announced. Nothing was stored; send it again."
)
#: Files may be larger than records; every other body is held to Django's own limit.
LARGEST_FILE: Final = 20_000_000
_LARGER: Final = {"imports": LARGEST_FILE, "records": LARGEST_BODY}


def largest_body(path: str) -> int:
    """Give the most bytes that a body sent to this path may have."""
    last = path.rstrip("/").rpartition("/")[2]
    return _LARGER.get(last) or settings.DATA_UPLOAD_MAX_MEMORY_SIZE or 0


def too_large(path: str) -> str:
    """Say how large a body sent to this path may be."""
    return f"The body is larger than {largest_body(path):,} bytes, the most that this address takes."


class BodyEndedEarly(SuspiciousOperation):
    """Fewer bytes came than were announced."""


class Stream(Protocol):
    """What a server gives to read the body from (PEP 3333), as far as Django reads it."""

    def read(self, size: int = ..., /) -> bytes: ...
    def readline(self, size: int = ..., /) -> bytes: ...


class WholeBodies:
    """A WSGI application whose bodies raise :class:`BodyEndedEarly` when they end before their length."""

    def __init__(self, inner: WSGIApplication) -> None:
        self.inner = inner

    def __call__(self, environ: WSGIEnvironment, start_response: StartResponse) -> Any:
        length = str(environ.get("CONTENT_LENGTH") or "")
        if length.isascii() and length.isdecimal() and len(length) < 16:
            environ["wsgi.input"] = WholeBody(environ["wsgi.input"], int(length))
        return self.inner(environ, start_response)


class WholeBody:
    """A stream of a known length."""

    def __init__(self, stream: Stream, length: int) -> None:
        self._stream = stream
        self._missing = length

    def read(self, size: int = -1, /) -> bytes:
        wanted = self._missing if size < 0 else min(size, self._missing)
        parts: list[bytes] = []
        while wanted:
            part = self._taken(self._stream.read(wanted))
            wanted -= len(part)
            parts.append(part)
        return b"".join(parts)

    def readline(self, size: int = -1, /) -> bytes:
        wanted = self._missing if size < 0 else min(size, self._missing)
        return self._taken(self._stream.readline(wanted)) if wanted else b""

    def _taken(self, part: bytes) -> bytes:
        if not part:
            raise BodyEndedEarly(ENDED_EARLY)
        self._missing -= len(part)
        return part
