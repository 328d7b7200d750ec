"""All addresses."""

from django.urls import include, path

from vineyard import health, pages

urlpatterns = [
    path("", pages.landing, name="landing"),
    path("livez", health.livez, name="livez"),
    path("readyz", health.readyz, name="readyz"),
    path("docs", pages.Swagger.as_view(), name="docs"),
    path("redoc", pages.Redoc.as_view(), name="redoc"),
    path("openapi.json", pages.OpenApiJson.as_view(), name="openapi-json"),
    path("openapi.yaml", pages.OpenApiYaml.as_view(), name="openapi-yaml"),
    path("problems", pages.problems, name="problems"),
    path("problems/<slug:code>", pages.one_problem, name="problem"),
    path("api/v1/", include("records.api.urls")),
    path("api/v1/", include("balance.api.urls")),
]

handler400 = "vineyard.api.answers.bad_request"
handler403 = "vineyard.api.answers.forbidden"
handler404 = "vineyard.api.answers.not_found"
handler500 = "vineyard.api.answers.server_error"
