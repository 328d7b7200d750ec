"""All addresses."""

from collections.abc import Callable
from typing import Any

from django.db.transaction import non_atomic_requests
from django.urls import URLPattern, include, path
from django.views.decorators.csrf import csrf_exempt

from vineyard import document, health, pages
from vineyard.accounts import views as accounts
from vineyard.board.addresses import ADDRESSES as BOARD
from vineyard.staff import farms as _farms  # noqa: F401 - registers its pages
from vineyard.staff import people as _people  # noqa: F401 - registers its pages
from vineyard.staff.site import site as staff


def without_records(route: str, view: Callable[..., Any], name: str) -> URLPattern:
    """Give an address that needs no transaction, so that it answers while the database is away."""
    # None of them changes anything, so none needs a form's token; a method that they do not take stays a 405.
    return path(route, csrf_exempt(non_atomic_requests(view)), name=name)


urlpatterns = [
    without_records("", pages.landing, name="landing"),
    without_records("livez", health.livez, name="livez"),
    without_records("readyz", health.readyz, name="readyz"),
    without_records("metrics", health.metrics, name="metrics"),
    without_records("docs", pages.Swagger.as_view(), name="docs"),
    without_records("redoc", pages.Redoc.as_view(), name="redoc"),
    without_records("openapi.json", document.OpenApiJson.as_view(), name="openapi-json"),
    without_records("openapi.yaml", document.OpenApiYaml.as_view(), name="openapi-yaml"),
    without_records("problems", pages.problems, name="problems"),
    without_records("problems/<slug:code>", pages.one_problem, name="problem"),
    path("login", accounts.SignIn.as_view(), name="sign-in"),
    path("logout", accounts.SignOut.as_view(), name="sign-out"),
    path("docs/key", accounts.DocumentationKey.as_view(), name="docs-key"),
    *BOARD,
    without_records("admin", pages.to_staff, name="staff"),
    path("admin/", staff.urls),
    path("api/v1/", include("records.api.urls")),
    path("api/v1/", include("balance.api.urls")),
]

handler400 = "vineyard.api.answers.bad_request"
handler403 = "vineyard.api.answers.forbidden"
handler404 = "vineyard.api.answers.not_found"
handler500 = "vineyard.api.answers.server_error"
