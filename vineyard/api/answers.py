"""Problems outside Django REST framework: from middleware, from Django's own handlers, from health checks."""

from __future__ import annotations

from typing import Any

import orjson
from django.http import HttpRequest, HttpResponse

from vineyard.api.problems import CONTENT_TYPE, KINDS, Kind, problem


def problem_response(request: HttpRequest, kind: Kind, detail: str, **more: Any) -> HttpResponse:
    """Answer with one problem."""
    body = problem(kind, detail, instance=request.path, request_id=getattr(request, "request_id", ""), **more)
    return HttpResponse(orjson.dumps(body), status=kind.status, content_type=CONTENT_TYPE)


def bad_request(request: HttpRequest, exception: Exception) -> HttpResponse:  # noqa: ARG001
    """Answer 400 for what Django itself refuses."""
    return problem_response(request, KINDS["bad_request"], "The request holds something that no request may hold.")


def forbidden(request: HttpRequest, exception: Exception) -> HttpResponse:  # noqa: ARG001
    """Answer 403 for what Django itself refuses."""
    return problem_response(request, KINDS["not_allowed"], "This caller may not do this.")


def not_found(request: HttpRequest, exception: Exception) -> HttpResponse:  # noqa: ARG001
    """Answer 404 for an address that nothing stands at."""
    return problem_response(
        request, KINDS["not_found"], "There is nothing at this address. The addresses are at /docs."
    )


def server_error(request: HttpRequest) -> HttpResponse:
    """Answer 500 when a view failed outside Django REST framework."""
    return problem_response(request, KINDS["internal_error"], "The service failed; this is a fault of ours.")
