"""Around every request: an id, rules for bodies before anybody reads them, and a net under everything."""

from __future__ import annotations

import logging
import re
import uuid
from collections.abc import Callable
from typing import Final
from urllib.parse import unquote_to_bytes

from django.conf import settings
from django.http import HttpRequest, HttpResponse, HttpResponseBase

from vineyard.api.answers import problem_response
from vineyard.api.problems import KINDS

log = logging.getLogger("vineyard.api")

Handler = Callable[[HttpRequest], HttpResponseBase]
_REQUEST_ID: Final = re.compile(r"^[A-Za-z0-9_.-]{8,64}$")
_CHARSET: Final = re.compile(r"charset=\"?([^\";\s]+)", re.IGNORECASE)
#: Files may be larger than records; every other body is held to Django's own limit.
LARGEST_FILE: Final = 20_000_000


class RequestId:
    """Give every request an id, the caller's own where it sent one, and answer with it."""

    def __init__(self, get_response: Handler) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponseBase:
        sent = request.headers.get("X-Request-ID", "")
        request.request_id = sent if _REQUEST_ID.match(sent) else str(uuid.uuid4())  # type: ignore[attr-defined]
        try:
            response = self.get_response(request)
        except Exception:
            log.exception("request %s failed", request.request_id)  # type: ignore[attr-defined]
            response = problem_response(
                request, KINDS["internal_error"], "The service failed; this is a fault of ours."
            )
        response["X-Request-ID"] = request.request_id  # type: ignore[attr-defined]
        return response


class BodyRules:
    """Refuse bodies that are too large, compressed, of unknown length or in another encoding, unread."""

    def __init__(self, get_response: Handler) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponseBase:
        return _refused(request) or self.get_response(request)


def _refused(request: HttpRequest) -> HttpResponse | None:
    if _hidden_in_query(request.META.get("QUERY_STRING", "")):
        return problem_response(request, KINDS["bad_request"], "The query holds a null character or is not UTF-8.")
    if request.method in {"GET", "HEAD"}:
        return None
    if "Transfer-Encoding" in request.headers and not request.META.get("CONTENT_LENGTH"):
        detail = "Send Content-Length; a body in chunks of unknown length is not taken."
        return problem_response(request, KINDS["length_required"], detail)
    limit = largest_body(request.path)
    if int(request.META.get("CONTENT_LENGTH") or 0) > limit:
        detail = f"The body is larger than {limit:,} bytes, the most that this address takes."
        return problem_response(request, KINDS["too_large"], detail)
    return _wrong_encoding(request)


def largest_body(path: str) -> int:
    """Give the most bytes that a body sent to this path may have."""
    return LARGEST_FILE if path.rstrip("/").endswith("/imports") else settings.DATA_UPLOAD_MAX_MEMORY_SIZE or 0


def _wrong_encoding(request: HttpRequest) -> HttpResponse | None:
    compressed = request.headers.get("Content-Encoding", "identity").lower()
    charset = _CHARSET.search(request.headers.get("Content-Type", ""))
    kind = KINDS["unsupported_media_type"]
    if compressed != "identity":
        return problem_response(request, kind, "Send the body uncompressed, without Content-Encoding.")
    if charset and charset[1].lower() not in {"utf-8", "utf8"}:
        return problem_response(request, kind, "Send the body in UTF-8.")
    return None


def _hidden_in_query(query: str) -> bool:
    raw = unquote_to_bytes(query)
    try:
        return "\x00" in raw.decode("utf-8")
    except UnicodeDecodeError:
        return True
