"""Pages for people: where to begin, what a problem means, and the documentation, all without other hosts."""

from __future__ import annotations

from typing import Any

from django.conf import settings
from django.db import InterfaceError, OperationalError
from django.http import Http404, HttpRequest, HttpResponse, JsonResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_safe
from drf_spectacular.utils import extend_schema
from drf_spectacular.views import SpectacularRedocView, SpectacularSwaggerView
from rest_framework.permissions import AllowAny
from rest_framework.renderers import TemplateHTMLRenderer
from rest_framework.request import Request
from rest_framework.response import Response

from balance.advice import CAUTIONS
from records.models import Person
from vineyard.api.problems import KINDS

#: Nothing is loaded from anywhere else; the documentation pages carry one inline script and inline styles.
POLICY = (
    "default-src 'self'; img-src 'self' data:; style-src 'self' 'unsafe-inline'; script-src 'self' 'unsafe-inline'; "
    "worker-src blob:; frame-ancestors 'none'; base-uri 'none'; form-action 'self'"
)


@require_safe
def landing(request: HttpRequest) -> HttpResponse:
    """Say what this is and how to begin: as a page, or as JSON to a program that asks for it."""
    links = {
        "docs": "/docs",
        "redoc": "/redoc",
        "openapi": "/openapi.json",
        "api": "/api/v1",
        "problems": "/problems",
    }
    if request.get_preferred_type(["text/html", "application/json"]) == "application/json":
        addresses = {name: settings.PUBLIC_URL + path for name, path in links.items()}
        return JsonResponse({"service": "Balanced pruning of grapevines", **addresses, "cautions": CAUTIONS})
    return _page(request, "vineyard/landing.html", {"cautions": CAUTIONS, "base": settings.PUBLIC_URL})


@require_safe
def problems(request: HttpRequest) -> HttpResponse:
    """List every kind of problem."""
    return _page(request, "vineyard/problems.html", {"kinds": KINDS.values()})


@require_safe
def one_problem(request: HttpRequest, code: str) -> HttpResponse:
    """Explain one kind of problem; its address is the ``type`` in the answers."""
    kind = KINDS.get(code.replace("-", "_"))
    if kind is None:
        raise Http404
    return _page(request, "vineyard/problem.html", {"kind": kind})


@require_safe
def to_staff(request: HttpRequest) -> HttpResponse:  # noqa: ARG001
    """Lead to the program staff's pages, whose addresses end with a slash."""
    return redirect("/admin/")


def _page(request: HttpRequest, template: str, context: dict[str, Any]) -> HttpResponse:
    response = render(request, template, context)
    response["Content-Security-Policy"] = "default-src 'self'; frame-ancestors 'none'; base-uri 'none'"
    return response


class Swagger(SpectacularSwaggerView):
    """The documentation in which calls can be tried."""

    renderer_classes = [TemplateHTMLRenderer]
    authentication_classes = []
    permission_classes = [AllowAny]
    url_name = "openapi-json"
    template_name = "vineyard/docs.html"
    person: Person | None

    def setup(self, request: HttpRequest, *args: Any, **kwargs: Any) -> None:
        super().setup(request, *args, **kwargs)
        self.person = _signed_in(request)  # not later: the framework of the API knows no session

    @extend_schema(exclude=True)
    def get(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        response: Response = super().get(request, *args, **kwargs)  # type: ignore[no-untyped-call]
        response.data["person"] = self.person
        return response

    def finalize_response(self, *args: Any, **kwargs: Any) -> Any:
        response = super().finalize_response(*args, **kwargs)
        response["Content-Security-Policy"] = POLICY
        response["Cache-Control"] = "private, no-store"
        return response


def _signed_in(request: HttpRequest) -> Person | None:
    """Give who is signed in, to a page that also answers while the database is away."""
    try:
        return request.user if request.user.is_authenticated else None
    except (OperationalError, InterfaceError):
        return None


class Redoc(SpectacularRedocView):
    """The documentation to read; a template of our own, because the usual one asks another host for its fonts."""

    template_name = "vineyard/redoc.html"

    renderer_classes = [TemplateHTMLRenderer]
    authentication_classes = []
    permission_classes = [AllowAny]
    url_name = "openapi-json"

    def finalize_response(self, *args: Any, **kwargs: Any) -> Any:
        response = super().finalize_response(*args, **kwargs)
        response["Content-Security-Policy"] = POLICY
        return response
