"""Signing in to the board with a key of the API, or as who is signed in to the service; signing out again."""

from __future__ import annotations

import re
from datetime import UTC, datetime, timedelta
from typing import Any, Final
from urllib.parse import urlencode

from django.http import HttpRequest, HttpResponse, HttpResponseRedirect
from django.http.response import HttpResponseBase
from django.utils.decorators import method_decorator
from django.views import View
from django.views.decorators.debug import sensitive_post_parameters

from vineyard.board.calls import Api, Refused, called, environ_of, successful
from vineyard.board.keeping import GOOD_FOR_SECONDS, METRIC, PATH, UNITS, Kept, forget, keep, kept_in
from vineyard.board.pages import SIGN_IN, own_address, page, refusal, unkept

LABEL: Final = "the board at /board"
#: What may stand in a header; a key of another shape is refused by the API as any wrong key.
_KEY: Final = re.compile(r"[\x21-\x7e]{1,200}", re.ASCII)
#: By these the token of a form is believed.
_OF_A_FORM: Final[tuple[str, ...]] = ("HTTP_COOKIE", "HTTP_ORIGIN", "HTTP_REFERER")
_WRONG: Final = "No key in force reads like this. Check it for a missing character, or ask for a new one."
_SAID: Final = {
    "ended": "Your key no longer opens anything, or the time of this sign-in is over. Sign in again.",
    "out": "You are signed out, and this browser has forgotten your key.",
}


def _form(request: HttpRequest, said: str = "", status: int = 200) -> HttpResponse:
    """Give the form, with nothing in it that was typed."""
    asked = request.POST if request.method == "POST" else request.GET
    told = {"said": said, "next": own_address(asked.get("next", "")), "wrong": status != 200}
    return page(request, "sign_in", told, status=status)


@method_decorator(sensitive_post_parameters("key"), name="dispatch")
class SignIn(View):
    """The page at which a key is typed, once."""

    http_method_names = ["get", "head", "post"]

    def get(self, request: HttpRequest) -> HttpResponse:
        return _form(request, _SAID.get(request.GET.get("said", ""), ""))

    def post(self, request: HttpRequest) -> HttpResponse:
        secret = request.POST.get("key", "").strip()
        units = request.POST.get("units", METRIC)
        if not _KEY.fullmatch(secret):
            return _wrong(request)
        try:
            kept = key_for_pages(Api(request, secret))
        except Refused as refused:
            return _wrong(request) if refused.status == 401 else refusal(request, refused)
        return _signed_in(request, kept.with_units(units if units in UNITS else METRIC))


def _wrong(request: HttpRequest) -> HttpResponse:
    response = _form(request, _WRONG, status=401)
    response["WWW-Authenticate"] = 'Form realm="board"'
    return response


def _signed_in(request: HttpRequest, kept: Kept) -> HttpResponse:
    response = HttpResponseRedirect(own_address(request.POST.get("next", "")))
    keep(response, kept)
    return unkept(response)


def key_for_pages(api: Api) -> Kept:
    """Give the key that the pages call with: one that only reads and ends today, where the caller's may make keys.

    Raises
    ------
    Refused
        The key opens nothing.
    """
    me = api.get("/me")
    if "manage" not in me["scopes"]:
        return Kept(api.secret)
    ends = datetime.now(UTC) + timedelta(seconds=GOOD_FOR_SECONDS)
    until = min(ends, datetime.fromisoformat(me["key_expires_at"]))
    wanted = {"label": LABEL, "app_name": LABEL, "scopes": ["read"], "expires_at": until.isoformat()}
    #: A key that is bound to farms makes keys for those alone.
    bound: dict[str, Any] = {"farms": [farm["id"] for farm in me["farms"]]}
    for more in ({}, bound):
        try:
            made = api.send("POST", "/me/keys", {**wanted, **more})
        except Refused:
            continue
        return Kept(made["secret"], made["id"])
    return Kept(api.secret)


class SignInAsMyself(View):
    """The address at which whoever is signed in to the service comes in without typing a key.

    The page for trying calls has one made in the same way; a person has one at a time, so that page loses its own.
    """

    http_method_names = ["post"]

    def post(self, request: HttpRequest) -> HttpResponse:
        token = request.POST.get("csrfmiddlewaretoken", "")
        body = urlencode({"csrfmiddlewaretoken": token, "may": "read"}).encode()
        environ = environ_of(request, "POST", "/docs/key", "", body)
        environ |= {name: request.META[name] for name in _OF_A_FORM if name in request.META}
        environ["CONTENT_TYPE"] = "application/x-www-form-urlencoded"
        try:
            told = successful(called(environ)).json()
        except Refused as refused:
            if refused.status != 401:
                return refusal(request, refused)
            return unkept(HttpResponseRedirect(f"/login?{urlencode({'next': SIGN_IN})}"))
        return _signed_in(request, Kept(told["key"]))


class SignOut(View):
    """The address at which one signs out: the key that was made for these pages ends."""

    http_method_names = ["post"]

    def post(self, request: HttpRequest) -> HttpResponse:
        kept = kept_in(request)
        if kept is not None and kept.made:
            try:
                Api(request, kept.secret).send("DELETE", f"/me/keys/{kept.made}", HTTP_IF_MATCH="*")
            except Refused as refused:
                if refused.status >= 500:
                    return refusal(request, refused)
        response = HttpResponseRedirect(f"{SIGN_IN}?said=out")
        forget(response)
        return unkept(response)


class ChooseUnits(View):
    """The address at which one chooses the units of weights."""

    http_method_names = ["post"]

    def post(self, request: HttpRequest) -> HttpResponseBase:
        units, kept = request.POST.get("units", ""), kept_in(request)
        response = HttpResponseRedirect(own_address(request.POST.get("next", PATH)))
        if kept is not None and units in UNITS:
            keep(response, kept.with_units(units))
        return unkept(response)
