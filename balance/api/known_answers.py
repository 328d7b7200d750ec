"""Answers with a weak ETag of what they say, and 304 to whoever has them already."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from typing import Final

from django.http import HttpResponse
from django.utils.http import parse_etags
from drf_spectacular.utils import OpenApiResponse
from rest_framework.request import Request

from records.api.preconditions import not_modified

NOT_CHANGED: Final = OpenApiResponse(description="Nothing has changed since the answer that you have.")
#: Whoever asks again is answered 304 while nothing changed; nobody keeps an answer for another caller.
_ASK_AGAIN: Final = "private, no-cache"


def marks_of(written: bytes) -> dict[str, str]:
    """Give the headers by which an answer is known again, from what it says, written in one way."""
    return {"ETag": f'W/"{hashlib.sha256(written).hexdigest()[:32]}"', "Cache-Control": _ASK_AGAIN}


def not_changed(request: Request, marks: Mapping[str, str]) -> HttpResponse | None:
    """Answer 304 where the caller has what these headers mark; None: the answer is to be sent."""
    known = {each.removeprefix("W/") for each in parse_etags(request.headers.get("If-None-Match", ""))}
    if known.isdisjoint({"*", marks["ETag"].removeprefix("W/")}):
        return None
    return not_modified(marks)
