"""ETags and the version that a change says it knows."""

from __future__ import annotations

import re
import uuid
from collections.abc import Mapping
from typing import Any, Protocol

from django.http import HttpResponse
from django.urls import reverse
from rest_framework import status
from rest_framework.exceptions import APIException
from rest_framework.request import Request
from rest_framework.response import Response

_TAG = re.compile(r'^"(\d{1,9})"$')


class Versioned(Protocol):
    """Anything with a version that counts its changes."""

    version: Any
    pk: Any


class PreconditionRequired(APIException):
    """A change came without ``If-Match``."""

    status_code = 428
    default_code = "precondition_required"
    default_detail = (
        'Say which version you are changing: send the ETag that you read as If-Match, e.g. If-Match: "1". '
        "If-Match: * changes whichever version stands."
    )


class PreconditionFailed(APIException):
    """``If-Match`` holds no version that could ever match."""

    status_code = status.HTTP_412_PRECONDITION_FAILED
    default_code = "stale"
    default_detail = 'If-Match must be one strong ETag as the service gave it, e.g. "3".'


def expected_version(request: Request) -> int | None:
    """Give the version that the caller means to change; ``None`` for ``If-Match: *``."""
    header = request.headers.get("If-Match", "").strip()
    if not header:
        raise PreconditionRequired
    if header == "*":
        return None
    tag = _TAG.match(header)
    if tag is None:
        raise PreconditionFailed
    return int(tag[1])


def etag(row: Versioned) -> str:
    """Give the strong ETag of a row's version."""
    return f'"{row.version}"'


def answer(data: Any, row: Versioned, *, created: bool = False, location: str | None = None) -> Response:
    """Answer with one versioned row: 201 when it is new, else 200; always with its ETag."""
    headers = {"ETag": etag(row)}
    if location:
        headers["Location"] = location
    code = status.HTTP_201_CREATED if created else status.HTTP_200_OK
    return Response(data, status=code, headers=headers)


def accepted(data: Any, place: str, *, seconds: int = 1) -> Response:
    """Answer 202: where to look how far it is, and in how many seconds it is worth it."""
    headers = {"Location": place, "Retry-After": str(seconds)}
    return Response(data, status=status.HTTP_202_ACCEPTED, headers=headers)


def not_modified(headers: Mapping[str, str]) -> HttpResponse:
    """Answer 304: without a body, and so without a type of one, which Django would call HTML."""
    response = HttpResponse(status=status.HTTP_304_NOT_MODIFIED, headers=headers)
    del response["Content-Type"]
    return response


def place_of(request: Request, name: str, **ids: uuid.UUID | str) -> str:
    """Give the absolute address of a row just created."""
    return request.build_absolute_uri(reverse(name, kwargs=ids))
