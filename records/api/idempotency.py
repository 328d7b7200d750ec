"""``Idempotency-Key`` on POST and PATCH (draft-ietf-httpapi-idempotency-key-header): read, compare, replay, keep."""

from __future__ import annotations

import hashlib
import io
import json
import re
from decimal import Decimal
from typing import Any, Final
from urllib.parse import parse_qsl

from django.http.response import HttpResponse, HttpResponseBase
from rest_framework.exceptions import APIException
from rest_framework.request import Request
from rest_framework.response import Response

from records.api.documents import document_of
from records.services.answers import NO_FARM, Answered, Known, answered_before, keep_answer

HEADER: Final = "Idempotency-Key"
METHODS: Final = {"POST", "PATCH"}
SHORTEST, LONGEST = 16, 255
#: A key as most send it; in the schema, so that a client made from it sends no other.
PATTERN: Final = f"^[!#-~][!-~]{{{SHORTEST - 1},{LONGEST - 1}}}$"
_BARE: Final = re.compile(PATTERN)
_QUOTED: Final = re.compile(r'^"((?:[ !#-\[\]-~]|\\["\\])*)"$')
#: What a client acts on beside the body; the rest of an answer's headers is of its own moment.
_KEPT_HEADERS: Final = ("Content-Type", "ETag", "Location", "Retry-After", "Link")


class BadKey(APIException):
    """The header holds nothing that could be a key."""

    status_code = 400
    default_code = "bad_request"
    header = HEADER


class Replayed(Exception):
    """The request was answered before; this is the answer."""

    def __init__(self, response: HttpResponseBase) -> None:
        super().__init__()
        self.response = response


def known_request(view: Any, request: Request) -> Known | None:
    """Give the request as its key names it; nothing where no key was sent.

    Raises
    ------
    BadKey
        The header holds no key.
    Replayed
        The request was answered before.
    """
    sent = request.headers.get(HEADER)
    if sent is None or request.method not in METHODS:
        return None
    key, opened = key_of(sent), getattr(view, "opened", None)
    known = Known(
        opened.farm.pk if opened else NO_FARM,
        view.caller.person.pk,
        _digest([request.method, request.path, key]),
        fingerprint_of(request),
    )
    before = answered_before(known)
    if before is not None:
        raise Replayed(_again(before))
    return known


def key_of(sent: str) -> str:
    """Read the header: a quoted string (RFC 9651) or the bare key.

    Raises
    ------
    BadKey
        It is neither, too short or too long.
    """
    text = sent.strip()
    quoted = _QUOTED.match(text)
    key = re.sub(r"\\(.)", r"\1", quoted[1]) if quoted else text
    if not SHORTEST <= len(key) <= LONGEST or not (quoted or _BARE.match(text)):
        raise BadKey(
            f"{HEADER} is of length {len(key)}, or holds a character that no key may hold: {text[:40]!r}. Send "
            f"{SHORTEST} to {LONGEST} printable ASCII characters, bare or in double quotes, e.g. a new UUID for each "
            "request."
        )
    return key


def fingerprint_of(request: Request) -> str:
    """Give a digest of what the request says: the order of members, and space between them, say nothing."""
    http: Any = request._request  # noqa: SLF001 - the body must be left unread for the view, whatever its form
    if hasattr(http, "said_digest"):  # a view that carries a request out a second time has read its body
        return str(http.said_digest)
    media_type = (request.content_type or "").partition(";")[0].strip().lower()
    query = sorted(parse_qsl(http.META.get("QUERY_STRING", ""), keep_blank_values=True))
    head = _digest([request.method, request.path, query, media_type])
    http.said_digest = hashlib.sha256(head.encode() + _said(_body(http), media_type)).hexdigest()
    return str(http.said_digest)


def _body(http: Any) -> bytes:
    if http._read_started:  # noqa: SLF001
        body: bytes = http.body
        return body
    body = http.read()
    http._stream, http._read_started = io.BytesIO(body), False  # noqa: SLF001
    return body


def _said(body: bytes, media_type: str) -> bytes:
    if media_type != "application/json":
        return body
    try:
        return json.dumps(document_of(body), sort_keys=True, default=_number).encode()
    except APIException:
        return body  # the view will say what is wrong with it


def _number(value: Any) -> Any:
    # No member of a document that was sent can have this name: a null character is refused.
    return {"\x00": f"{value.normalize():f}"} if isinstance(value, Decimal) else str(value)


def _digest(parts: Any) -> str:
    return hashlib.sha256(json.dumps(parts).encode()).hexdigest()


def _again(before: Answered) -> HttpResponseBase:
    return HttpResponse(before.body, status=before.status, headers={**before.headers, "Idempotent-Replayed": "true"})


def keep(view: Any, known: Known, response: HttpResponseBase) -> None:
    """Keep the answer of a request that took effect, in its transaction."""
    if not 200 <= response.status_code < 300 or response.streaming:
        return
    if isinstance(response, Response):
        response.render()
    headers = {name: response[name] for name in _KEPT_HEADERS if name in response}
    answer = Answered(response.status_code, headers, bytes(getattr(response, "content", b"")))
    keep_answer(known, answer, is_secret=view.answer_is_secret)
