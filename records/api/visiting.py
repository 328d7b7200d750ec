"""Let every request that a consent lets in leave its trace in the farm's access log.

The trace is written in the request's own transaction, so that nothing is read without it.  A request that is
refused undoes its transaction, yet its answer may hold the record that stood in the way: ``KeepVisits`` then
writes the same trace again.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable

from django.http import HttpRequest
from django.http.response import HttpResponseBase
from rest_framework.request import Request

from records.access import Caller, Part
from records.models import Farm
from records.services import visits


def note_visits(request: Request, caller: Caller, parts: Iterable[tuple[Farm, Part]], path: str | None = None) -> None:
    """Note the request in the log of every farm that a consent let it into.

    ``path`` stands in the log where the request's own opens something to whoever reads it.
    """
    noted = visits.note_visits(caller, parts, str(request.method), path or request.path)
    if noted:
        request.visits[:] = noted  # type: ignore[attr-defined] # a request that is carried out again is one visit


class KeepVisits:
    """Write the visits of a refused request again, outside the transaction that its refusal undid."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponseBase]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponseBase:
        request.visits = []  # type: ignore[attr-defined]
        response = self.get_response(request)
        if request.visits and response.status_code >= 400:  # type: ignore[attr-defined]
            visits.keep_visits(request.visits)  # type: ignore[attr-defined]
        return response
