"""Pages by key, not by offset: the next page starts after the last row seen, whatever was added meanwhile."""

from __future__ import annotations

import hashlib
import json
import uuid
from collections.abc import Sequence
from datetime import date, datetime
from decimal import Decimal
from typing import Any, Final
from urllib.parse import urlencode

from django.core import signing
from django.db.models import Model, Q, QuerySet
from rest_framework.exceptions import ErrorDetail
from rest_framework.pagination import BasePagination
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from records.api.strict import InvalidQuery

DEFAULT_LIMIT: Final = 50
LARGEST_LIMIT: Final = 500
COUNTED_AT_MOST: Final = 10_000
#: A cursor is signed, so its values are only ever our own; another version of its content takes another salt.
_PAGING: Final = {"limit", "cursor", "count"}
_SALT: Final = "page-cursor-2"


class KeysetPagination(BasePagination):
    """Page through a view's rows in the order of its ``keyset``.

    A view names columns that are never empty; the primary key is added where it is not among them, so that together
    they name one row.  A leading ``-`` turns the order of all of them round.

    A view may have ``page_limits`` of its own, the usual and the largest: a page may be shorter than ``limit``, so
    clients follow ``next``.
    """

    def paginate_queryset(self, queryset: Any, request: Request, view: APIView | None = None) -> list[Any]:
        self.request = request
        self.keyset = _whole(view.keyset, queryset.model)  # type: ignore[union-attr]
        default, largest = getattr(view, "page_limits", (DEFAULT_LIMIT, LARGEST_LIMIT))
        self.limit = min(_limit(request, default, max(largest, LARGEST_LIMIT)), largest)
        self.filters = _digest(request)
        self.total = self._count(queryset)
        back, after = self._cursor()
        fields = [name.lstrip("-") for name in self.keyset]
        down = self.keyset[0].startswith("-") != back
        rows = queryset.order_by(*(f"-{name}" if down else name for name in fields))
        if after is not None:
            rows = rows.filter(_beyond(fields, after, down=down))
        found = list(rows[: self.limit + 1])
        more = len(found) > self.limit
        page = found[: self.limit]
        if back:
            page.reverse()
        self.has_next, self.has_previous = (after is not None, more) if back else (more, after is not None)
        self.page = page
        return page

    def get_paginated_response(self, data: Any) -> Response:
        links = {"next": self._link(last=True), "previous": self._link(last=False)}
        header = ", ".join(
            f'<{url}>; rel="{rel}"' for rel, url in (("next", links["next"]), ("prev", links["previous"])) if url
        )
        body = {"results": data, **links, **self.total}
        return Response(body, headers={"Link": header} if header else None)

    def get_paginated_response_schema(self, schema: dict[str, Any]) -> dict[str, Any]:
        link = {
            "type": ["string", "null"],
            "format": "uri",
            "description": "Address of the page, or null at the end.",
            "example": None,
        }
        return {
            "type": "object",
            "required": ["results", "next", "previous"],
            "properties": {
                "results": schema,
                "next": link,
                "previous": link,
                "count": {"type": "integer", "description": "Only with count=capped.", "example": 1},
                "count_is_exact": {
                    "type": "boolean",
                    "description": "False where there are more than were counted.",
                    "example": True,
                },
            },
        }

    def get_schema_operation_parameters(self, view: APIView) -> list[dict[str, Any]]:  # noqa: ARG002
        def parameter(name: str, schema: dict[str, Any], description: str) -> dict[str, Any]:
            return {
                "name": name,
                "in": "query",
                "required": False,
                "schema": schema,
                "description": description,
            }

        return [
            parameter(
                "limit",
                {"type": "integer", "minimum": 1, "maximum": LARGEST_LIMIT, "default": DEFAULT_LIMIT},
                "Rows on a page.",
            ),
            parameter(
                "cursor",
                {"type": "string", "maxLength": 2000},
                "Where the page starts: taken from next or previous.",
            ),
            parameter("count", {"type": "string", "enum": ["capped"]}, f"Count the rows, up to {COUNTED_AT_MOST:,}."),
        ]

    def _count(self, queryset: QuerySet[Any]) -> dict[str, Any]:
        wanted = self.request.query_params.get("count")
        if wanted is None:
            return {}
        if wanted != "capped":
            raise _invalid("count", "The only way to count is count=capped.")
        counted = queryset.order_by()[: COUNTED_AT_MOST + 1].count()
        return {"count": min(counted, COUNTED_AT_MOST), "count_is_exact": counted <= COUNTED_AT_MOST}

    def _cursor(self) -> tuple[bool, list[Any] | None]:
        text = self.request.query_params.get("cursor")
        if text is None:
            return False, None
        try:
            order, filters, back, values = signing.loads(text, salt=_SALT)
        except signing.BadSignature as error:
            raise _invalid_cursor() from error
        if (order, filters) != (list(self.keyset), self.filters):
            raise _invalid_cursor()
        return back, values

    def _link(self, *, last: bool) -> str | None:
        if not (self.has_next if last else self.has_previous) or not self.page:
            return None
        row = self.page[-1 if last else 0]
        values = [_plain(_value(row, name.lstrip("-"))) for name in self.keyset]
        cursor = signing.dumps([list(self.keyset), self.filters, not last, values], salt=_SALT, compress=True)
        query = {**self.request.query_params.dict(), "cursor": cursor}
        return f"{self.request.build_absolute_uri(self.request.path)}?{urlencode(query)}"


def _whole(keyset: Sequence[str], model: type[Model]) -> tuple[str, ...]:
    """Give the order with the primary key in it, so that no two rows tie."""
    key = model._meta.pk.name  # noqa: SLF001 - Django documents it under this name
    if key in {name.lstrip("-") for name in keyset}:
        return tuple(keyset)
    return (*keyset, f"-{key}" if keyset[0].startswith("-") else key)


def _limit(request: Request, default: int, largest: int) -> int:
    text = request.query_params.get("limit", str(default))
    if not (text.isascii() and text.isdecimal() and len(text) < 6 and 1 <= int(text) <= largest):
        raise _invalid("limit", f"Send a whole number from 1 to {largest}.")
    return int(text)


def _beyond(fields: Sequence[str], after: Sequence[Any], *, down: bool) -> Q:
    """Give the rows beyond a key; the first condition alone lets the index find them."""
    side = "lt" if down else "gt"
    condition = Q()
    for length in range(1, len(fields) + 1):
        same = dict(zip(fields[: length - 1], after, strict=False))
        condition |= Q(**same, **{f"{fields[length - 1]}__{side}": after[length - 1]})
    return Q(**{f"{fields[0]}__{side}e": after[0]}) & condition


def _value(row: Model, name: str) -> Any:
    return getattr(row, name)


def _plain(value: Any) -> str | int:
    if isinstance(value, datetime | date):
        return value.isoformat()
    return str(value) if isinstance(value, uuid.UUID | Decimal) else value


def _digest(request: Request) -> str:
    """Give a mark of the list and its filters, so that a cursor is not followed under others."""
    filters = {name: request.query_params[name] for name in request.query_params if name not in _PAGING}
    return hashlib.sha256(json.dumps([request.path, filters], sort_keys=True).encode()).hexdigest()[:12]


def _invalid(parameter: str, sentence: str, code: str = "invalid") -> InvalidQuery:
    return InvalidQuery({parameter: [ErrorDetail(sentence, code)]})


def _invalid_cursor() -> InvalidQuery:
    sentence = (
        "This cursor is not of this list. Start without one, or follow next as it was given, with the same filters."
    )
    return _invalid("cursor", sentence, "invalid_cursor")
