"""Programs: those that concern the caller."""

from __future__ import annotations

import uuid
from typing import Any

from django.db.models import QuerySet
from drf_spectacular.utils import OpenApiExample, extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from records import access
from records.api.strict import StrictQuery
from records.api.views import CallerView
from records.models import Program

PROGRAM_EXAMPLE = {
    "id": "01991b5e-0000-7000-8000-0000000009a1",
    "name": "Harrow Vale Growers (invented)",
    "region": "Harrow Vale (invented)",
    "join_code": None,
}


class ProgramOut(serializers.ModelSerializer[Program]):
    """A program that brings many growers' data together."""

    join_code = serializers.SerializerMethodField(
        help_text="For its leads, else null: growers who are given it may give the program a consent."
    )

    class Meta:
        model = Program
        fields = [*PROGRAM_EXAMPLE]

    def get_join_code(self, program: Program) -> str | None:
        return program.join_code if program.pk in self.context["led"] else None


class Programs(CallerView):
    """The programs that concern the caller."""

    keyset = ("name", "id")
    serializer_class = ProgramOut

    def get_queryset(self) -> QuerySet[Program]:
        return access.programs_of(self.caller)

    def get_serializer_context(self) -> dict[str, Any]:
        return {**super().get_serializer_context(), "led": access.led_by(self.caller)}

    @extend_schema(
        summary="List programs",
        description="Programs that the caller leads, or that a farm of theirs takes part in or gave a consent to.",
        responses=ProgramOut(many=True),
        tags=["programs"],
        examples=[OpenApiExample("A program", value=PROGRAM_EXAMPLE, response_only=True)],
    )
    def get(self, request: Request) -> Response:
        StrictQuery.of(request, paged=True)
        page = self.paginate_queryset(self.get_queryset())
        return self.get_paginated_response(self.get_serializer(page, many=True).data)


class OneProgram(CallerView):
    """One program."""

    serializer_class = ProgramOut

    @extend_schema(
        summary="Read a program",
        description="One program that the caller leads, or that a farm of theirs takes part in or gave a consent to.",
        responses=ProgramOut,
        tags=["programs"],
        examples=[OpenApiExample("A program", value=PROGRAM_EXAMPLE, response_only=True)],
    )
    def get(self, request: Request, program: uuid.UUID) -> Response:
        StrictQuery.of(request)
        found = access.open_program(self.caller, program)
        return Response(ProgramOut(found, context={"led": access.led_by(self.caller)}).data)
