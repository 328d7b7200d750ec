"""The base of every view: who calls, and the farm of the address, resolved once and before anything else."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, ClassVar, Final, Protocol, cast

from django.db.models import QuerySet
from rest_framework.exceptions import MethodNotAllowed
from rest_framework.generics import GenericAPIView
from rest_framework.permissions import AllowAny
from rest_framework.request import Request

from records.access import Caller, OpenFarm, Right, enter, open_farm
from records.api.documents import MalformedJSON
from records.api.idempotency import Replayed, keep, known_request
from records.api.visiting import note_visits
from records.models import ApiKey
from records.services.answers import Known

#: It would be taken for a change of nothing, and a change whose body was lost on its way would be answered 200.
_NO_BODY: Final = "The body is empty. Send the members to change in a JSON object."


class Spending(Protocol):
    """A throttle that a view may ask for more than one request."""

    def spend(self, request: Request, view: Any, cost: int) -> None: ...


class CallerView(GenericAPIView[Any]):
    """A view for a caller with a key; the transaction runs on their behalf.

    A view that lists names its ``keyset``: the columns by which its rows are paged.
    """

    keyset: ClassVar[tuple[str, ...]] = ()
    #: An answer that shows a secret once is not kept for whoever sends the request again (``Idempotency-Key``).
    answer_is_secret: ClassVar[bool] = False
    http_method_names = ["get", "head", "post", "patch", "delete"]
    caller: Caller
    _known: Known | None = None

    def initial(self, request: Request, *args: Any, **kwargs: Any) -> None:
        super().initial(request, *args, **kwargs)
        if request.method and not hasattr(self, request.method.lower()):
            raise MethodNotAllowed(request.method)
        self.caller = Caller.by_key(cast(ApiKey, request.auth), getattr(request, "request_id", ""))
        enter(self.caller)
        try:
            self.open(request, **kwargs)
        finally:
            self.spend(1)
        if request.method == "PATCH" and not int(request.META.get("CONTENT_LENGTH") or 0):
            raise MalformedJSON(_NO_BODY)
        self._known = known_request(self, request)

    def handle_exception(self, exc: Exception) -> Any:
        return exc.response if isinstance(exc, Replayed) else super().handle_exception(exc)

    def finalize_response(self, request: Request, response: Any, *args: Any, **kwargs: Any) -> Any:
        finished = super().finalize_response(request, response, *args, **kwargs)
        if self._known is not None:
            keep(self, self._known, finished)
        return finished

    def open(self, request: Request, **kwargs: Any) -> None:
        """Go through the door to what the address names."""

    def check_throttles(self, request: Request) -> None:
        """Do not spend yet: a stranger must not spend what a farm may, so the door comes first."""

    def spend(self, cost: int) -> None:
        """Count this request, or so many more of its kind, against its key and its farm; refuse what is too much.

        One request counts one by itself; a view that takes many rows at once spends for them before it stores any.
        """
        for throttle in self.get_throttles():
            cast(Spending, throttle).spend(self.request, self, cost)

    def get_queryset(self) -> QuerySet[Any]:
        """Give the rows that the view's list pages through; a view that lists says which."""
        raise NotImplementedError


class FarmView(CallerView):
    """A view on one farm: the address names it, and the method says which right it takes.

    A method that ``rights`` does not name is refused: forgetting fails, it does not leak.
    """

    rights: ClassVar[Mapping[str, Right]] = {"GET": Right.READ, "HEAD": Right.READ}
    opened: OpenFarm

    def open(self, request: Request, **kwargs: Any) -> None:
        method = request.method or ""
        if method not in self.rights:
            raise MethodNotAllowed(method)
        self.opened = open_farm(self.caller, kwargs["farm"], self.rights[method])
        note_visits(request, self.caller, [(self.opened.farm, self.opened.part)])


class OpenView(GenericAPIView[Any]):
    """A view for anybody: it reads nothing of any farm."""

    http_method_names = ["get", "head", "post"]
    authentication_classes = []
    permission_classes = [AllowAny]


READ_AND_RECORD: Mapping[str, Right] = {
    "GET": Right.READ,
    "HEAD": Right.READ,
    "POST": Right.RECORD,
    "PATCH": Right.RECORD,
}
READ_AND_MANAGE: Mapping[str, Right] = {
    "GET": Right.READ,
    "HEAD": Right.READ,
    "POST": Right.MANAGE,
    "PATCH": Right.MANAGE,
    "DELETE": Right.MANAGE,
}
MANAGE_ONLY: Mapping[str, Right] = dict.fromkeys(("GET", "HEAD", "POST", "PATCH", "DELETE"), Right.MANAGE)
