"""Rate limits of the API: what a request costs, whom it counts against, and how the answer says so."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, Final

from django.http import HttpRequest, HttpResponseBase
from rest_framework.exceptions import APIException
from rest_framework.request import Request
from rest_framework.throttling import BaseThrottle

from balance.formulas.counting import counted
from records.models import ApiKey
from vineyard.addresses import address_of
from vineyard.limits import Allowance, Limit, allow, allow_together

Handler = Callable[[HttpRequest], HttpResponseBase]
_WHO: Final = {"key": "this key", "farm": "this farm", "address": "this address", "wrong_keys": "this address"}


class TooManyRequests(APIException):
    """A bucket lacks the tokens that the request costs."""

    status_code = 429
    default_code = "too_many_requests"

    def __init__(self, allowance: Allowance) -> None:
        standing = allowance.emptiest
        self.wait = max(1, allowance.wait_seconds)
        limit = standing.limit if standing else Limit("address", 1, 1)
        super().__init__(
            f"More was asked for {_WHO.get(limit.name, 'this caller')} than {counted(limit.amount, 'request')} in "
            f"{counted(limit.seconds, 'second')}. Nothing was stored. Send it again in "
            f"{counted(self.wait, 'second')}."
        )


class RateLimit(BaseThrottle):
    """Count a request against its key and its farm together, or without a key against its address."""

    def allow_request(self, request: Request, view: Any) -> bool:
        self.spend(request, view, 1)
        return True

    def spend(self, request: Request, view: Any, cost: int) -> None:
        """Take tokens for a request.

        Raises
        ------
        TooManyRequests
            There are not enough.
        """
        allowance = allow_together(holders_of(request, view), cost)
        request._request.rate_limit = allowance  # type: ignore[attr-defined]  # noqa: SLF001 - for the middleware
        if not allowance:
            raise TooManyRequests(allowance)


def holders_of(request: Request, view: Any) -> list[tuple[str, str]]:
    """Give the limits that a request counts against; a farm only once the door has let the caller in."""
    if not isinstance(request.auth, ApiKey) and not getattr(request.user, "pk", None):
        return [("address", address_of(request.META))]
    caller = request.auth if isinstance(request.auth, ApiKey) else request.user
    opened = getattr(view, "opened", None)
    return [("key", str(caller.pk)), *([("farm", str(opened.farm.pk))] if opened else [])]


def refuse_many_wrong_keys(request: Request) -> None:
    """Count a wrong key against its address.

    A right key from there goes on: a key has 256 random bits, so this saves work and hinders no guess.

    Raises
    ------
    TooManyRequests
        Too many came from there.
    """
    allowance = allow("wrong_keys", address_of(request.META))
    if not allowance:
        raise TooManyRequests(allowance)


class RateLimitHeaders:
    """Say in the answer how the limits stand (draft-ietf-httpapi-ratelimit-headers)."""

    def __init__(self, get_response: Handler) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponseBase:
        response = self.get_response(request)
        allowance: Allowance | None = getattr(request, "rate_limit", None)
        if allowance is not None and allowance.standings:
            limits = [(standing, standing.limit) for standing in allowance.standings]
            response["RateLimit-Policy"] = ", ".join(
                f'"{limit.name}";q={limit.amount};w={limit.seconds}' for _, limit in limits
            )
            response["RateLimit"] = ", ".join(
                f'"{limit.name}";r={standing.left};t={standing.full_in_seconds}' for standing, limit in limits
            )
        return response
