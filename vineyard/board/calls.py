"""Calls of the public API, within this process: through the same WSGI application that answers everybody.

A page is answered outside any transaction (``non_atomic_requests``), so each call has its own, as if it came over the
wire: one transaction, one set of open farms, one visit in the log of a farm.
"""

from __future__ import annotations

import io
import sys
from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cache
from typing import Any, Final
from urllib.parse import urlencode
from wsgiref.types import WSGIApplication, WSGIEnvironment

import orjson
from django.conf import settings
from django.http import HttpRequest
from django.utils.module_loading import import_string

BASE: Final = "/api/v1"
JSON: Final = "application/json"
#: What a call says of where the page was asked for: limits count by address, and the log tells the two as one.
_HANDED_ON: Final[tuple[str, ...]] = (
    "HTTP_HOST",
    "HTTP_X_FORWARDED_FOR",
    "HTTP_X_FORWARDED_PROTO",
    "HTTP_TRACEPARENT",
    "REMOTE_ADDR",
    "SERVER_NAME",
    "SERVER_PORT",
    "wsgi.url_scheme",
)


@dataclass(frozen=True)
class Answer:
    """What the API answered."""

    status: int
    headers: Mapping[str, str]
    body: bytes

    def json(self) -> Any:
        return orjson.loads(self.body) if self.body else None


class Refused(Exception):
    """The API refused, or failed; what it said of it."""

    def __init__(self, answer: Answer) -> None:
        self.status = answer.status
        self.retry_after = answer.headers.get("retry-after", "")
        told = _problem(answer)
        self.code = str(told.get("code", ""))
        self.title = str(told.get("title", "The service did not answer"))
        self.detail = str(told.get("detail", ""))
        self.faults = [fault for fault in told.get("errors", []) if isinstance(fault, dict)]
        super().__init__(f"{self.status} {self.code}")

    @property
    def slug(self) -> str:
        """The last part of the address at which the problem is explained."""
        return self.code.replace("_", "-")


def _problem(answer: Answer) -> dict[str, Any]:
    try:
        told = answer.json()
    except orjson.JSONDecodeError:
        return {}
    return told if isinstance(told, dict) else {}


@dataclass(frozen=True)
class Part:
    """A part of a page: what the API told, or why it did not, which is shown in its place."""

    told: Any = None
    refused: Refused | None = None


@dataclass(frozen=True)
class Api:
    """The public API as one caller sees it; ``secret`` is their key, which goes into one header and nowhere else."""

    request: HttpRequest
    secret: str = field(repr=False)

    def get(self, path: str, **query: Any) -> Any:
        """Read something.

        Raises
        ------
        Refused
            The answer is no success.
        """
        return self.fetch(path, **query).json()

    def part(self, path: str, **query: Any) -> Part:
        """Read something that a page can stand without; only that the key no longer opens anything ends the page."""
        try:
            return Part(told=self.get(path, **query))
        except Refused as refused:
            if refused.status == 401:
                raise
            return Part(refused=refused)

    def fetch(self, path: str, **query: Any) -> Answer:
        """Read something in the form in which it comes.

        Raises
        ------
        Refused
            The answer is no success.
        """
        return self._call("GET", path, query, b"")

    def send(self, method: str, path: str, body: Any = None, **headers: str) -> Any:
        """Change something.

        Raises
        ------
        Refused
            The answer is no success.
        """
        content = b"" if body is None else orjson.dumps(body)
        return self._call(method, path, {}, content, **headers).json()

    def _call(self, method: str, path: str, query: Mapping[str, Any], body: bytes, **headers: str) -> Answer:
        said = {name: value for name, value in query.items() if value not in (None, "")}
        environ = environ_of(self.request, method, BASE + path, urlencode(said), body)
        environ["HTTP_AUTHORIZATION"] = f"Bearer {self.secret}"
        environ["CONTENT_TYPE"] = JSON if body else ""
        environ["HTTP_ACCEPT"] = "*/*"
        return successful(called({**environ, **headers}))


def environ_of(request: HttpRequest, method: str, path: str, query: str, body: bytes) -> WSGIEnvironment:
    """Give the environment of a call (PEP 3333) made for a page that was asked for; it carries no cookie of it."""
    handed_on: dict[str, Any] = {name: request.META[name] for name in _HANDED_ON if name in request.META}
    return {
        **handed_on,
        "REQUEST_METHOD": method,
        "SCRIPT_NAME": "",
        "PATH_INFO": path,
        "QUERY_STRING": query,
        "SERVER_PROTOCOL": "HTTP/1.1",
        "HTTP_X_REQUEST_ID": getattr(request, "request_id", ""),
        "CONTENT_LENGTH": str(len(body)),
        "wsgi.version": (1, 0),
        "wsgi.input": io.BytesIO(body),
        "wsgi.errors": sys.stderr,
        "wsgi.multithread": True,
        "wsgi.multiprocess": True,
        "wsgi.run_once": False,
    }


def called(environ: WSGIEnvironment) -> Answer:
    """Call the service and gather its answer."""
    said: list[tuple[int, list[tuple[str, str]]]] = []

    def start(status: str, headers: list[tuple[str, str]], _: Any = None) -> Any:
        said[:] = [(int(status[:3]), headers)]

    pieces = _application()(environ, start)
    try:
        body = b"".join(pieces)
    finally:
        if hasattr(pieces, "close"):
            pieces.close()
    status, headers = said[0]
    return Answer(status, {name.lower(): value for name, value in headers}, body)


def successful(answer: Answer) -> Answer:
    """Give an answer that is a success.

    Raises
    ------
    Refused
        It is none.
    """
    if not 200 <= answer.status < 300:
        raise Refused(answer)
    return answer


@cache
def _application() -> WSGIApplication:
    """Give what serves everybody; not before the first call, because it serves these pages, too."""
    application: WSGIApplication = import_string(settings.WSGI_APPLICATION)
    return application
