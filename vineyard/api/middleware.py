"""Around every request: an id, rules for bodies before anybody reads them, and a net under everything."""

from __future__ import annotations

import logging
import re
import uuid
from collections.abc import Callable
from typing import Final
from urllib.parse import unquote_to_bytes

from django.http import HttpRequest, HttpResponseBase

from vineyard.accounts.pages import is_for_people, refused
from vineyard.api.answers import kind_of_status, problem_response
from vineyard.api.bodies import largest_body, too_large
from vineyard.api.problems import CONTENT_TYPE, KINDS
from vineyard.logs import bound, trace_id_of

log = logging.getLogger("vineyard.api")

Handler = Callable[[HttpRequest], HttpResponseBase]
_REQUEST_ID: Final = re.compile(r"[A-Za-z0-9_-]{1,64}", re.ASCII)
_CHARSET: Final = re.compile(r"charset=\"?([^\";\s]*)", re.IGNORECASE)
_LENGTH: Final = re.compile(r"[0-9]{1,15}", re.ASCII)
#: What a refusal says beside its body stays when the body becomes a problem.
_KEPT_HEADERS: Final = ("Allow", "Retry-After", "WWW-Authenticate")


class RequestId:
    """Give every request an id, the caller's own where it sent one, and let no failure out but as a problem."""

    def __init__(self, get_response: Handler) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponseBase:
        sent = request.headers.get("X-Request-ID", "")
        request_id = sent if _REQUEST_ID.fullmatch(sent) else str(uuid.uuid4())
        trace_id = trace_id_of(request.headers.get("traceparent", ""))
        request.request_id, request.trace_id = request_id, trace_id  # type: ignore[attr-defined]
        with bound(request_id=request_id, trace_id=trace_id):
            response = self._answer(request)
        response["X-Request-ID"] = request_id
        return response

    def _answer(self, request: HttpRequest) -> HttpResponseBase:
        try:
            return _as_problem(request, self.get_response(request))
        except Exception:
            log.exception("failed outside the view")
            return problem_response(request, KINDS["internal_error"], "The service failed; this is a fault of ours.")


def _as_problem(request: HttpRequest, response: HttpResponseBase) -> HttpResponseBase:
    """Give a refusal of Django's own, such as its empty 405, the body that every refusal has; to people, a page."""
    kind = kind_of_status(response.status_code)
    if kind is not None and is_for_people(request.path):
        return _with_headers_of(response, refused(request, kind, response))
    if kind is None or response.get("Content-Type", "").startswith(CONTENT_TYPE):
        return response
    refusal = _with_headers_of(response, problem_response(request, kind, kind.explanation))
    response.close()
    return refusal


def _with_headers_of(response: HttpResponseBase, refusal: HttpResponseBase) -> HttpResponseBase:
    for name in _KEPT_HEADERS:
        if name in response:
            refusal[name] = response[name]
    return refusal


class BodyRules:
    """Refuse bodies that are too large, compressed, of unknown length or in another encoding, unread."""

    def __init__(self, get_response: Handler) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponseBase:
        broken = _broken_rule(request)
        if broken is None:
            return self.get_response(request)
        code, detail = broken
        return problem_response(request, KINDS[code], detail)


_Broken = tuple[str, str] | None


def _broken_rule(request: HttpRequest) -> _Broken:
    """Give code and sentence of the first rule that the request breaks."""
    if _hides_something(request.META.get("QUERY_STRING", "")):
        return "bad_request", "The query holds a null character or is not UTF-8."
    if request.method in {"GET", "HEAD"}:
        return None
    return _broken_length(request) or _broken_form(request)


def _broken_length(request: HttpRequest) -> _Broken:
    length = request.META.get("CONTENT_LENGTH") or ""
    if "Transfer-Encoding" in request.headers or (not length and _brings_a_body(request)):
        return "length_required", "Send Content-Length; a body of unknown length is not taken."
    if length and not _LENGTH.fullmatch(length):
        return "bad_request", "Content-Length is not a number of bytes."
    if int(length or 0) > largest_body(request.path):
        return "too_large", too_large(request.path)
    return None


def _brings_a_body(request: HttpRequest) -> bool:
    """Look whether a body comes without its length, as HTTP/2 allows; Django would take it for none and lose it.

    It is not applied: nothing would tell a whole one from one that was cut off.  It is read to its end, because a
    server that must drop the rest of a stream may drop the answer with it.  Only a server that ends the stream
    itself is asked; on another, reading would wait for ever.
    """
    if not request.META.get("wsgi.input_terminated"):
        return False
    stream, left, came = request.META["wsgi.input"], largest_body(request.path), False
    while left > 0 and (part := stream.read(min(left, 65_536))):
        left, came = left - len(part), True
    return came


def _broken_form(request: HttpRequest) -> _Broken:
    compressed = request.headers.get("Content-Encoding", "identity").lower()
    charset = _CHARSET.search(request.headers.get("Content-Type", ""))
    if compressed != "identity" and not (compressed == "gzip" and _may_be_compressed(request)):
        return "unsupported_media_type", "Send the body without Content-Encoding; only NDJSON to …/records may be gzip."
    if charset and charset[1].lower() not in {"utf-8", "utf8"}:
        return "unsupported_media_type", "Send the body in UTF-8."
    return None


def _may_be_compressed(request: HttpRequest) -> bool:
    return request.path.endswith("/records") and request.content_type == "application/x-ndjson"


def _hides_something(query: str) -> bool:
    # A server hands bytes over as Latin-1 (PEP 3333), so that is how they are got back.
    raw = unquote_to_bytes(query.encode("latin-1", "replace"))
    try:
        return "\x00" in raw.decode("utf-8")
    except UnicodeDecodeError:
        return True
