"""Applications behind the front, for tests over a real socket: they tell what reached them."""

from __future__ import annotations

import time
from collections.abc import Iterable
from typing import Any
from wsgiref.types import StartResponse, WSGIEnvironment

import orjson

from vineyard.front import Front, Patience

LARGE = 40_000_000


def tells(environ: WSGIEnvironment, start_response: StartResponse) -> Iterable[bytes]:
    """Answer with what came; at ``/…/slow`` not before a while, at ``/large`` with much, at ``/fails`` not at all."""
    path = environ["PATH_INFO"]
    if path.endswith("/slow"):
        time.sleep(0.15)
    if path == "/fails":
        raise RuntimeError("a secret")
    start_response("200 OK", [("Content-Type", "application/json")])
    if path == "/large":
        return (b"x" * 1_000_000 for _ in range(LARGE // 1_000_000))
    came = environ["wsgi.input"].read()
    return [orjson.dumps({"path": path, "body": came.decode(), "headers": _headers(environ)})]


def _headers(environ: WSGIEnvironment) -> dict[str, Any]:
    return {name: value for name, value in environ.items() if name.startswith(("HTTP_", "REMOTE_"))}


def served() -> Front:
    """Give an application of four threads that loses its patience after a second."""
    return Front(tells, threads=4, patience=Patience(grace_seconds=1.0, held_bytes=10_000_000))
