"""Problems outside Django REST framework: from middleware, from Django's own handlers, from health checks."""

from __future__ import annotations

import sys
from typing import Any, Final

import orjson
from django.db import IntegrityError, InterfaceError, InternalError, OperationalError
from django.http import HttpRequest, HttpResponse

from vineyard.api.constraints import said_by
from vineyard.api.problems import BY_STATUS, CONTENT_TYPE, KINDS, Kind, problem

RETRY_AFTER_SECONDS: Final = "2"


def problem_response(request: HttpRequest, kind: Kind, detail: str, **more: Any) -> HttpResponse:
    """Answer with one problem."""
    body = problem(kind, detail, instance=request.path, request_id=getattr(request, "request_id", ""), **more)
    return HttpResponse(orjson.dumps(body), status=kind.status, content_type=CONTENT_TYPE)


def kind_of_status(status: int) -> Kind | None:
    """Give the kind of problem for a refusal of which nothing but its status is known."""
    return KINDS["bad_request"] if status == 400 else BY_STATUS.get(status)


def bad_request(request: HttpRequest, exception: Exception) -> HttpResponse:  # noqa: ARG001
    """Answer 400 for what Django itself refuses."""
    return problem_response(request, KINDS["bad_request"], "The request holds something that no request may hold.")


def forbidden(request: HttpRequest, exception: Exception) -> HttpResponse:  # noqa: ARG001
    """Answer 403 for what Django itself refuses."""
    return problem_response(request, KINDS["not_allowed"], "This caller may not do this.")


def token_missing(request: HttpRequest, reason: str = "") -> HttpResponse:  # noqa: ARG001
    """Answer 403 for a form without the token of its page, or from another page."""
    detail = "The form is too old, or did not come from a page of this service. Load the page again and repeat it."
    return problem_response(request, KINDS["not_allowed"], detail)


def not_found(request: HttpRequest, exception: Exception) -> HttpResponse:  # noqa: ARG001
    """Answer 404 for an address that nothing stands at."""
    return problem_response(
        request, KINDS["not_found"], "There is nothing at this address. The addresses are at /docs."
    )


#: A transaction that idled, or lasted, longer than it may (PostgreSQL's table of errors).
_ENDED_BY_THE_DATABASE: Final = {"25P03", "25P04"}


def is_away(failure: BaseException | None) -> bool:
    """Tell whether a request failed because the database could not be reached, or ended its transaction."""
    if isinstance(failure, InternalError):
        return getattr(failure.__cause__, "sqlstate", "") in _ENDED_BY_THE_DATABASE
    return isinstance(failure, OperationalError | InterfaceError)


#: The database may have gone away after it stored everything and before it could say so.
_UNKNOWN_END: Final = (
    "The records cannot be reached, or went away while the request was being stored. Send it again: under an id of "
    "the client's own it is stored once."
)


def server_error(request: HttpRequest) -> HttpResponse:
    """Answer when a request failed outside Django REST framework, in its transaction's beginning or end, else 500.

    A request's transaction is opened before its view is called, so a database that is away is met here; it is
    closed after the view, so a constraint that is deferred speaks here.
    """
    failure = sys.exc_info()[1]
    if is_away(failure):
        response = problem_response(request, KINDS["unavailable"], _UNKNOWN_END)
        response["Retry-After"] = RETRY_AFTER_SECONDS
        return response
    if isinstance(failure, IntegrityError):
        kind, detail, errors = said_by(failure)
        return problem_response(request, kind, detail, errors=errors)
    return problem_response(request, KINDS["internal_error"], "The service failed; this is a fault of ours.")
