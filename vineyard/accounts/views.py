"""Sign in, sign out, and a short-lived key with which the documentation page calls the API."""

from __future__ import annotations

import unicodedata
from datetime import timedelta
from http import HTTPStatus
from typing import Any, Final

from django.contrib.auth.forms import AuthenticationForm
from django.contrib.auth.signals import user_logged_in, user_logged_out
from django.contrib.auth.views import LoginView, LogoutView
from django.contrib.sessions.backends.db import SessionStore
from django.dispatch import receiver
from django.http import HttpRequest, HttpResponse, HttpResponseBase, JsonResponse
from django.utils.decorators import method_decorator
from django.views import View
from django.views.decorators.cache import never_cache
from django.views.decorators.csrf import csrf_protect

from balance.formulas.counting import counted
from records.access import Right
from records.models import ApiKey, Person
from records.services.keys import make_key, revoke_key
from vineyard.accounts.pages import guarded
from vineyard.addresses import address_of
from vineyard.api.answers import problem_response
from vineyard.api.problems import KINDS
from vineyard.limits import allow_together, forget

#: By this label the keys of the documentation page are known: a person has one at a time, and none once signed out.
LABEL: Final = "for trying calls in the documentation"
GOOD_FOR: Final = timedelta(hours=1)
REFUSED: Final = "This e-mail address and this password do not belong together."
#: What the page asks for → what its key may do.
CHOICES: Final = {"read": [Right.READ], "all": list(Right)}


class SignInForm(AuthenticationForm):
    """Django's own form, with one sentence for every reason: nothing tells a wrong password from an unknown person."""

    error_messages = {"invalid_login": REFUSED, "inactive": REFUSED}


@method_decorator(never_cache, name="dispatch")
class SignIn(LoginView):
    """The page at which a person signs in."""

    template_name = "vineyard/sign_in.html"
    authentication_form = SignInForm
    next_page = "/docs"
    http_method_names = ["get", "head", "post"]

    def post(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        """Count every attempt before it is looked at, of an account that exists and of one that does not alike."""
        self.account = _account_of(request.POST.get("username", ""))
        told = allow_together([("login_account", self.account), ("login_address", address_of(request.META))])
        if told:
            return super().post(request, *args, **kwargs)
        page = self._page(request, f"Too many attempts. Try again in {counted(max(1, told.wait_seconds), 'second')}.")
        page.status_code = HTTPStatus.TOO_MANY_REQUESTS
        page.headers["Retry-After"] = str(max(1, told.wait_seconds))
        return page

    def form_valid(self, form: AuthenticationForm) -> HttpResponse:
        forget("login_account", self.account)
        return super().form_valid(form)

    def form_invalid(self, form: AuthenticationForm) -> HttpResponse:  # noqa: ARG002
        page = self._page(self.request, REFUSED)
        page.status_code = HTTPStatus.UNAUTHORIZED
        page.headers["WWW-Authenticate"] = 'Form realm="vineyard"'
        return page

    def dispatch(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponseBase:
        return guarded(super().dispatch(request, *args, **kwargs))

    def _page(self, request: HttpRequest, refusal: str) -> HttpResponse:
        """Give the form again, with nothing in it that was typed: the page is the same for everybody."""
        form = self.get_form_class()(request)
        return self.render_to_response(self.get_context_data(form=form, refusal=refusal))


class SignOut(LogoutView):
    """The address at which a person signs out; only by POST, with the page's token."""

    next_page = "/login"
    http_method_names = ["post"]


@receiver(user_logged_in)
def forget_old_sessions(**_: object) -> None:
    """Remove sessions that have run out, so that their table does not grow for ever."""
    SessionStore.clear_expired()


@receiver(user_logged_out)
def take_back_keys(user: Person | None, **_: object) -> None:
    """Let a key of the documentation page end with the session that asked for it."""
    if user is not None:
        for key in _keys_of(user):
            revoke_key(key)


@method_decorator([csrf_protect, never_cache], name="dispatch")
class DocumentationKey(View):
    """Gives a signed-in person a key for the documentation page, which keeps it in its memory and nowhere else.

    The API takes no session: a cookie goes along with whatever any page makes a browser send, a key does not.
    """

    http_method_names = ["post"]

    def post(self, request: HttpRequest) -> HttpResponse:
        person = request.user
        if not person.is_authenticated:
            return problem_response(request, KINDS["not_authenticated"], "Sign in first.")
        scopes = CHOICES.get(request.POST.get("may", "read"))
        if scopes is None:
            return problem_response(request, KINDS["bad_request"], "'may' is read or all.")
        for earlier in _keys_of(person):
            revoke_key(earlier)
        key, text = make_key(person, label=LABEL, scopes=scopes, app_name="documentation page", valid_for=GOOD_FOR)
        return JsonResponse({"key": text, "scopes": key.scopes, "expires_at": key.expires_at})


def _account_of(typed: str) -> str:
    """Give the account that an attempt counts against: other capitals or spaces make no further attempts."""
    return unicodedata.normalize("NFKC", typed).strip().casefold()[:254]


def _keys_of(person: Person) -> list[ApiKey]:
    return list(ApiKey.objects.filter(person=person, label=LABEL, revoked_at=None)[:100])
