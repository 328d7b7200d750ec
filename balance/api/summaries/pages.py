"""Pages of a list that was computed whole: each starts after the place of the last line seen, in the list's order."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any, Final, TypeVar
from urllib.parse import urlencode

from django.core import signing
from drf_spectacular.utils import OpenApiParameter
from rest_framework import serializers
from rest_framework.request import Request

from records.api.strict import InvalidQuery, StrictIntegerField

DEFAULT_LIMIT: Final = 50
LARGEST_LIMIT: Final = 500
_SALT: Final = "list-cursor-1"
_NOT_OF_THIS_LIST: Final = (
    "This cursor is not of this list. Start without one, or follow next as it was given, with the same filters."
)
Item = TypeVar("Item")

PARAMETERS: Final = [
    OpenApiParameter(
        "limit",
        {"type": "integer", "minimum": 1, "maximum": LARGEST_LIMIT, "default": DEFAULT_LIMIT},
        description="Lines on a page.",
    ),
    OpenApiParameter(
        "cursor", {"type": "string", "maxLength": 2000}, description="Where the page starts: taken from next."
    ),
]


def paging_fields() -> dict[str, serializers.Field[Any, Any, Any, Any]]:
    """Give the fields of a query that pages."""
    return {
        "limit": StrictIntegerField(min_value=1, max_value=LARGEST_LIMIT),
        "cursor": serializers.CharField(max_length=2000, allow_blank=True),
    }


@dataclass(frozen=True)
class Page:
    """Some lines of a list, how many it has in all, and the address of what follows."""

    lines: Sequence[Any]
    count: int
    next: str | None

    @property
    def headers(self) -> dict[str, str]:
        """The address of what follows as a header, too (RFC 8288)."""
        return {"Link": f'<{self.next}>; rel="next"'} if self.next else {}


def page_of(
    request: Request, listed: Sequence[Item], key: Callable[[Item], Sequence[Any]], query: dict[str, Any]
) -> Page:
    """Give the page that the query asks for, of lines that stand in the order of their keys.

    ``key`` gives what JSON can write, of every line something else; lines that come or go between two pages neither
    hide nor repeat others.
    """
    after = _after(request, query.get("cursor"))
    limit = query.get("limit", DEFAULT_LIMIT)
    rest = listed if after is None else [each for each in listed if list(key(each)) > after]
    page = list(rest[:limit])
    more = len(rest) > limit
    return Page(page, len(listed), _link(request, list(key(page[-1]))) if more and page else None)


def _after(request: Request, cursor: str | None) -> list[Any] | None:
    if cursor is None:
        return None
    try:
        filters, after = signing.loads(cursor, salt=_SALT)
    except signing.BadSignature as error:
        raise _invalid() from error
    if filters != _digest(request):
        raise _invalid()
    found: list[Any] = after
    return found


def _digest(request: Request) -> str:
    """Give a mark of the list and its filters, so that a cursor is not followed under others."""
    filters = {name: text for name, text in request.query_params.items() if name not in {"limit", "cursor"}}
    return hashlib.sha256(json.dumps([request.path, filters], sort_keys=True).encode()).hexdigest()[:12]


def _invalid() -> InvalidQuery:
    return InvalidQuery({"cursor": [serializers.ErrorDetail(_NOT_OF_THIS_LIST, "invalid_cursor")]})


def _link(request: Request, last: list[Any]) -> str:
    cursor = signing.dumps([_digest(request), last], salt=_SALT, compress=True)
    query = {**request.query_params.dict(), "cursor": cursor}
    return f"{request.build_absolute_uri(request.path)}?{urlencode(query)}"
