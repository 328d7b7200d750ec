"""Views that exist only here: each meets one behaviour of the API that no endpoint of ours need ever show."""

from __future__ import annotations

import uuid
from collections.abc import Callable
from typing import Any

from django.core.exceptions import PermissionDenied, RequestDataTooBig, SuspiciousOperation
from django.db import connection
from django.db.transaction import non_atomic_requests
from django.http import Http404
from django.urls import path
from drf_spectacular.renderers import OpenApiYamlRenderer2
from rest_framework import exceptions as drf
from rest_framework import serializers
from rest_framework.renderers import TemplateHTMLRenderer
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from records import errors
from records.api.strict import (
    AwareDateTimeField,
    StrictBooleanField,
    StrictCharField,
    StrictDecimalField,
    StrictIntegerField,
    StrictSerializer,
)
from records.models import Person, ProgramMembership
from vineyard.urls import handler400, handler403, handler404, handler500  # noqa: F401 - Django looks for them here
from vineyard.urls import urlpatterns as served


class Current:
    """A row as a refusal shows it."""

    version = 3


def slow_statement() -> None:
    with connection.cursor() as cursor:
        cursor.execute("SET LOCAL statement_timeout = 20")
        cursor.execute("SELECT pg_sleep(5)")


def taken_email() -> None:
    Person.objects.create_user("twice@harrow-vale.example", "Once")
    Person.objects.create_user("twice@harrow-vale.example", "Again")


def deferred_reference() -> None:
    """Point at a program that does not exist; the database says so when the transaction ends, after the view."""
    person = Person.objects.create_user("late@harrow-vale.example", "Late")
    ProgramMembership.objects.create(program_id=uuid.uuid4(), person=person)


def raising(exception: Exception) -> Callable[[], None]:
    def fail() -> None:
        raise exception

    return fail


FAILURES: dict[str, Callable[[], None]] = {
    "throttled": raising(drf.Throttled(wait=0.2)),
    "parse-error": raising(drf.ParseError("Half a form.")),
    "not-found": raising(Http404("secret")),
    "permission": raising(PermissionDenied("secret")),
    "suspicious": raising(SuspiciousOperation("secret")),
    "too-big": raising(RequestDataTooBig("secret")),
    "stale": raising(errors.Stale("It was changed since.", current=Current())),
    "not-valid": raising(errors.NotValid.at("rows", 0, "pruning/weight", code="out_of_range", detail="Too heavy.")),
    "slow-statement": slow_statement,
    "taken-email": taken_email,
    "deferred-reference": deferred_reference,
}


class Probe(APIView):
    authentication_classes = []
    permission_classes = []


class Fails(Probe):
    def post(self, request: Request, name: str) -> Response:
        FAILURES[name]()
        return Response({})


class FailsAsYaml(Fails):
    renderer_classes = [OpenApiYamlRenderer2]


class FailsAsPage(Fails):
    renderer_classes = [TemplateHTMLRenderer]


class Anything(Probe):
    """Take any JSON and give it back."""

    def post(self, request: Request) -> Response:
        return Response({"got": request.data})


class Part(StrictSerializer):
    value = StrictDecimalField(max_digits=9, decimal_places=3)


class Row(StrictSerializer):
    name = StrictCharField(max_length=20)
    note = StrictCharField(max_length=200, required=False, multiline=True)
    weight = Part(required=False)
    count = StrictIntegerField(required=False, min_value=0)
    done = StrictBooleanField(required=False)
    at = AwareDateTimeField(required=False)


class Rows(Probe):
    """Take a list of rows."""

    def post(self, request: Request) -> Response:
        rows = Row(data=request.data, many=True)
        rows.is_valid(raise_exception=True)
        return Response(rows.validated_data)


class Nested(serializers.Serializer[Any]):
    rows = Row(many=True)


class Wrapped(Probe):
    """Take a list of rows as a member."""

    def post(self, request: Request) -> Response:
        body = Nested(data=request.data)
        body.is_valid(raise_exception=True)
        return Response(body.validated_data)


urlpatterns = [
    *served,
    path("probe/fails/<slug:name>", Fails.as_view()),
    path("probe/fails-as-yaml/<slug:name>", FailsAsYaml.as_view()),
    path("probe/fails-as-page/<slug:name>", FailsAsPage.as_view()),
    path("probe/anything", non_atomic_requests(Anything.as_view())),
    path("probe/rows", Rows.as_view()),
    path("probe/wrapped", Wrapped.as_view()),
]
