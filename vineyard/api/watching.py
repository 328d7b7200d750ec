"""One line in the log and one count in the metrics for every request, by ids and route, never by content."""

from __future__ import annotations

import logging
import time
from collections.abc import Callable
from typing import Any, Final
from wsgiref.types import WSGIEnvironment

from django.core.signals import got_request_exception
from django.db import connection
from django.http import HttpRequest, HttpResponseBase
from django.urls import Resolver404, resolve
from django.utils.functional import LazyObject, empty

from vineyard import metrics
from vineyard.api.routes import template_of
from vineyard.calling import Answer
from vineyard.combining import COMBINED, answers_all

log = logging.getLogger("vineyard.request")

Handler = Callable[[HttpRequest], HttpResponseBase]
#: Where nothing stands: one name for every address that somebody may invent.
NO_ROUTE: Final = "(none)"


class Watched:
    """Counts, times and logs what the rest of the service answers."""

    def __init__(self, get_response: Handler) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponseBase:
        began = time.perf_counter()
        statements = Statements()
        with connection.execute_wrapper(statements):
            response = self.get_response(request)
        seconds = time.perf_counter() - began
        route, method = route_of(request), metrics.method_of(request.method)
        together = int(request.META.get(COMBINED, 1))
        if together == 1 or answers_all(response.status_code):
            metrics.count_request(route, method, response.status_code, seconds, number=together)
        facts = {**_who(request), "method": method, "route": route, "status": response.status_code}
        facts |= {"ms": round(seconds * 1000, 1), "statements": statements.number, "rows": _rows(response)}
        facts["requests"] = together if together > 1 else None
        told = {name: value for name, value in facts.items() if value not in (None, "")}
        level = logging.ERROR if response.status_code == 500 else logging.INFO
        log.log(level, "%s %s %d", method, route, response.status_code, extra={"facts": told})
        return response


def note_refusal(environ: WSGIEnvironment, answer: Answer) -> None:
    """Log and count a request that was refused at the front, before Django saw it; how long it took is not known."""
    route, method = _route_at(environ["PATH_INFO"]), metrics.method_of(environ["REQUEST_METHOD"])
    metrics.count_request(route, method, answer.status, None)
    request_id = dict(answer.headers).get("X-Request-ID", "")
    facts = {"request_id": request_id, "method": method, "route": route, "status": answer.status}
    log.info("%s %s %d at the front", method, route, answer.status, extra={"facts": facts})


class Statements:
    """Counts the statements that go to the database."""

    def __init__(self) -> None:
        self.number = 0

    def __call__(self, execute: Callable[..., Any], sql: str, params: Any, many: bool, context: Any) -> Any:
        self.number += 1
        return execute(sql, params, many, context)


def route_of(request: HttpRequest) -> str:
    """Give the template of the address, e.g. ``/api/v1/farms/{farm}``, also where the request was refused before."""
    match = request.resolver_match
    return template_of(match.route) if match else _route_at(request.path_info)


def _route_at(path: str) -> str:
    try:
        return template_of(resolve(path).route)
    except Resolver404:
        return NO_ROUTE


def _who(request: HttpRequest) -> dict[str, Any]:
    """Give the ids of request, trace, person, key and farm, as far as they are known; nothing is looked up for it."""
    person = request.__dict__.get("user")
    if isinstance(person, LazyObject):
        person = person.__dict__.get("_wrapped")
    match = request.resolver_match
    return {
        "request_id": getattr(request, "request_id", ""),
        "trace_id": getattr(request, "trace_id", ""),
        "person": None if person is empty else getattr(person, "pk", None),
        "key": getattr(request.__dict__.get("auth"), "prefix", ""),
        "farm": match.kwargs.get("farm") if match else None,
    }


def _rows(response: HttpResponseBase) -> int | None:
    """Give how many rows the answer is about, where it says so."""
    told = getattr(response, "data", None)
    if not isinstance(told, dict):
        return None
    received = told["summary"].get("received") if isinstance(told.get("summary"), dict) else None
    listed = told.get("results")
    return received or (len(listed) if isinstance(listed, list) else None)


def log_failure(sender: object, request: HttpRequest | None = None, **_: Any) -> None:  # noqa: ARG001
    """Say which exception ended a request, once, where Django would repeat the path and the words of it."""
    log.exception("failed")


got_request_exception.connect(log_failure, dispatch_uid="vineyard.api.watching")
