"""What the pages of the board have in common: who calls, how a page is answered, and how a refusal is told."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Final
from urllib.parse import urlencode

from django.http import HttpRequest, HttpResponse, HttpResponseRedirect
from django.http.response import HttpResponseBase
from django.shortcuts import render
from django.utils.cache import patch_vary_headers
from django.utils.http import url_has_allowed_host_and_scheme
from django.views import View

from vineyard.board.calls import Answer, Api, Refused
from vineyard.board.keeping import PATH, Kept, forget, kept_in

#: No script runs, and nothing is loaded but the style and pictures of this service.
POLICY: Final = (
    "default-src 'none'; style-src 'self'; img-src 'self'; form-action 'self'; frame-ancestors 'none'; base-uri 'none'"
)
#: The page that follows a job has one script of this service, which asks for that page again.
POLICY_OF_FOLLOWING: Final = f"{POLICY}; script-src 'self'; connect-src 'self'"
SIGN_IN: Final = f"{PATH}/sign-in"
#: Headers of a file of the API that go on to the browser.
_HANDED_ON: Final = ("content-disposition", "content-security-policy", "x-content-type-options", "referrer-policy")


def page(
    request: HttpRequest, template: str, context: Mapping[str, Any] | None = None, status: int = 200
) -> HttpResponse:
    """Give a page; it is kept by nothing on the way."""
    kept = kept_in(request)
    about: dict[str, Any] = {"units": kept.units if kept else None, "here": request.get_full_path(), **(context or {})}
    response = render(request, f"board/{template}.html", about, status=status)
    response["Content-Security-Policy"] = POLICY_OF_FOLLOWING if about.get("waits") else POLICY
    return unkept(response)


def unkept(response: HttpResponse) -> HttpResponse:
    """Let nothing on the way keep what belongs to one person."""
    response["Cache-Control"] = "private, no-store"
    patch_vary_headers(response, ["Cookie"])
    return response


def own_address(address: str) -> str:
    """Give an address of the board that a form or a link names, or the board's own where it names another."""
    ours = address == PATH or address.startswith((f"{PATH}/", f"{PATH}?"))
    return address if ours and url_has_allowed_host_and_scheme(address, allowed_hosts=None) else PATH


def to_sign_in(request: HttpRequest, said: str) -> HttpResponse:
    """Lead to the page at which one signs in, and back from there."""
    back = request.get_full_path() if request.method == "GET" else PATH
    query = {"said": said, "next": own_address(back)}
    response = HttpResponseRedirect(f"{SIGN_IN}?{urlencode(query)}")
    forget(response)
    return unkept(response)


def refusal(request: HttpRequest, refused: Refused) -> HttpResponse:
    """Tell a refusal of the API to a person, with the way out."""
    if refused.status == 401:
        return to_sign_in(request, "ended")
    template = "nothing" if refused.status == 404 else "refused"
    # What goes wrong within the API is no fault of whoever asked, and not of this page either.
    response = page(request, template, {"refused": refused}, status=refused.status)
    if refused.retry_after:
        response["Retry-After"] = refused.retry_after
    return response


class BoardPage(View):
    """A page for whoever is signed in to the board."""

    http_method_names = ["get", "head"]
    #: Which of the board's main links leads here.
    place = ""
    api: Api
    kept: Kept

    def dispatch(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponseBase:
        kept = kept_in(request)
        if kept is None:
            return to_sign_in(request, "first" if request.method == "GET" else "ended")
        self.kept, self.api = kept, Api(request, kept.secret)
        try:
            return super().dispatch(request, *args, **kwargs)
        except Refused as refused:
            return refusal(request, refused)

    def asked(self, *names: str) -> dict[str, str]:
        """Give what the address says under these names, as it stands: whether it can be asked is for the API to say."""
        return {name: self.request.GET[name].strip() for name in names if self.request.GET.get(name, "").strip()}

    def page(self, template: str, **context: Any) -> HttpResponse:
        return page(self.request, template, {"place": self.place, **context})


def handed_on(answer: Answer, *, shown: bool = False) -> HttpResponse:
    """Give a file of the API to the browser, under the headers that came with it; ``shown``: not saved."""
    response = HttpResponse(answer.body, status=answer.status, content_type=answer.headers.get("content-type"))
    for name in _HANDED_ON:
        if name in answer.headers and not (shown and name == "content-disposition"):
            response[name] = answer.headers[name]
    return unkept(response)
