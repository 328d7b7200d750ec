"""All addresses."""

from collections.abc import Callable
from typing import Any

from django.db.transaction import non_atomic_requests
from django.urls import URLPattern, include, path

from vineyard import health, pages


def without_records(route: str, view: Callable[..., Any], name: str) -> URLPattern:
    """Give an address that needs no transaction, so that it answers while the database is away."""
    return path(route, non_atomic_requests(view), name=name)


urlpatterns = [
    without_records("", pages.landing, name="landing"),
    without_records("livez", health.livez, name="livez"),
    without_records("readyz", health.readyz, name="readyz"),
    without_records("metrics", health.metrics, name="metrics"),
    without_records("docs", pages.Swagger.as_view(), name="docs"),
    without_records("redoc", pages.Redoc.as_view(), name="redoc"),
    without_records("openapi.json", pages.OpenApiJson.as_view(), name="openapi-json"),
    without_records("openapi.yaml", pages.OpenApiYaml.as_view(), name="openapi-yaml"),
    without_records("problems", pages.problems, name="problems"),
    without_records("problems/<slug:code>", pages.one_problem, name="problem"),
    path("api/v1/", include("records.api.urls")),
    path("api/v1/", include("balance.api.urls")),
]

handler400 = "vineyard.api.answers.bad_request"
handler403 = "vineyard.api.answers.forbidden"
handler404 = "vineyard.api.answers.not_found"
handler500 = "vineyard.api.answers.server_error"
