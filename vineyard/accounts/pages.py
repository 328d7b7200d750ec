"""What pages for people have in common: where they may load from, and how they refuse."""

from __future__ import annotations

from typing import Final

import orjson
from django.http import HttpRequest, HttpResponse, HttpResponseBase
from django.shortcuts import render

from vineyard.api.problems import CONTENT_TYPE, Kind

#: Nothing is loaded from anywhere else, and no other page may frame one of these.
POLICY: Final = "default-src 'self'; img-src 'self' data:; frame-ancestors 'none'; base-uri 'none'; form-action 'self'"
_BEGINNINGS: Final = ("/admin", "/login", "/logout", "/board")


def is_for_people(path: str) -> bool:
    """Tell whether an address answers with pages, also where it refuses."""
    return any(path == beginning or path.startswith(f"{beginning}/") for beginning in _BEGINNINGS)


def guarded(page: HttpResponseBase) -> HttpResponseBase:
    """Give a page its policy."""
    page.headers["Content-Security-Policy"] = POLICY
    return page


def refused(request: HttpRequest, kind: Kind, response: HttpResponseBase) -> HttpResponseBase:
    """Give a refusal as a page; one that is a page already stays as it is."""
    of = response.headers.get("Content-Type", "")
    if of.startswith("text/html") and not (isinstance(response, HttpResponse) and not response.content):
        return response
    detail = kind.explanation
    if isinstance(response, HttpResponse) and of.startswith(CONTENT_TYPE):
        detail = orjson.loads(response.content)["detail"]
    return guarded(render(request, "vineyard/refused.html", {"kind": kind, "detail": detail}, status=kind.status))
