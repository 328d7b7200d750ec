"""What the addresses of own formulas and own ranges have in common: whose they are, how they are listed and added."""

from __future__ import annotations

import re
import uuid
from typing import Any, ClassVar, Final

from django.db.models import Q, QuerySet
from drf_spectacular.utils import OpenApiParameter, extend_schema_field
from rest_framework import status
from rest_framework.request import Request
from rest_framework.response import Response

from records.access import open_program_catalogue
from records.api.parameters import VERSION_NAMED, text_of
from records.api.preconditions import place_of
from records.api.strict import StrictCharField
from records.api.views import READ_AND_MANAGE, CallerView, FarmView
from records.models import BalanceRange, Program, PruningFormula
from records.services.own_catalogue import (
    OF_A_FARM,
    OF_A_PROGRAM,
    Added,
    of_program,
    usable_by,
    version_named,
)

OWNERS: Final = ("shared", "program", "farm")
MARK_SAYS: Final = (
    "READ: read in the source. READ*: read in a source of low authority. MEMORY: recalled, not seen. COMPUTED: "
    "arithmetic on figures that were read. farm: a farm's or program's own, which nobody else looked at."
)
OWNER = OpenApiParameter(
    "owner", str, enum=OWNERS, description="Only what is everybody's, the program's or the farm's."
)
GROUP = OpenApiParameter("group", text_of(40), description="Only for this group of cultivars.")
CULTIVAR = OpenApiParameter("cultivar", text_of(60), description="Only for this cultivar.")
SAYS_OF_VERSIONS: Final = (
    "The first content under a code is its version 1, another content the next version; no version is ever changed or "
    "removed. Content that a version has already is that version again (200), however often and late it is sent."
)


def _of_versions(name: str) -> OpenApiParameter:
    return OpenApiParameter(name, VERSION_NAMED, OpenApiParameter.PATH, description="Code and version: `code@version`.")


FORMULA_NAMED = _of_versions("formula")
RANGE_NAMED = _of_versions("range")


class CodeField(StrictCharField):
    """A code for something of one's own: it begins with whose it is."""

    begins: ClassVar[str]
    default_error_messages = {
        "pattern": "A code here is {begins!r} followed by small letters, digits and single hyphens, such as {like!r}."
    }

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(max_length=60, **kwargs)

    def to_internal_value(self, data: Any) -> str:
        code = super().to_internal_value(data)
        if not re.fullmatch(f"{self.begins}[a-z0-9]+(-[a-z0-9]+)*", code):
            self.fail("pattern", begins=self.begins, like=f"{self.begins}upper-terrace")
        return code


def _code_of(begins: str) -> dict[str, Any]:
    return {"type": "string", "maxLength": 60, "pattern": f"^{begins}[a-z0-9]+(-[a-z0-9]+)*$"}


@extend_schema_field(_code_of(OF_A_FARM))
class FarmsCodeField(CodeField):
    """A code of a farm's own."""

    begins = OF_A_FARM


@extend_schema_field(_code_of(OF_A_PROGRAM))
class ProgramsCodeField(CodeField):
    """A code of a program's own."""

    begins = OF_A_PROGRAM


class OfAFarm(FarmView):
    """What a farm may use of a catalogue, and adds to it."""

    rights = READ_AND_MANAGE
    model: ClassVar[type[PruningFormula] | type[BalanceRange]]

    def get_queryset(self) -> QuerySet[Any]:
        return usable_by(self.model, self.opened.farm)

    def listed(self, query: dict[str, Any]) -> Response:
        """Answer with one page of what the farm may use, narrowed as was asked."""
        owner = query.pop("owner", None)
        rows = self.get_queryset().filter(**query)
        return _page(self, rows.filter(_of_owner(owner)) if owner else rows)

    def one(self, spelling: str) -> Response:
        """Answer with the version that the address names."""
        return Response(self.get_serializer(version_named(self.get_queryset(), spelling)).data)


class OfAProgram(CallerView):
    """What a program adds to a catalogue: its leads write, farms that take part read."""

    model: ClassVar[type[PruningFormula] | type[BalanceRange]]
    program: Program

    def open(self, request: Request, **kwargs: Any) -> None:
        self.program = open_program_catalogue(self.caller, kwargs["program"], writes=request.method == "POST")

    def get_queryset(self) -> QuerySet[Any]:
        return of_program(self.model, self.program)

    def listed(self, query: dict[str, Any]) -> Response:
        """Answer with one page of what the program added, narrowed as was asked."""
        return _page(self, self.get_queryset().filter(**query))

    def one(self, spelling: str) -> Response:
        """Answer with the version that the address names."""
        return Response(self.get_serializer(version_named(self.get_queryset(), spelling)).data)


def answer_added(view: OfAFarm | OfAProgram, added: Added[Any], version: int, name: str, **ids: uuid.UUID) -> Response:
    """Answer with a version: 201 and its address when it is new, else 200."""
    data = view.get_serializer(added.row).data
    if not added.created:
        return Response(data)
    noun = name.rpartition("-")[2]
    place = place_of(view.request, name, **ids, **{noun: f"{added.row.code}@{version}"})
    return Response(data, status=status.HTTP_201_CREATED, headers={"Location": place})


def _of_owner(owner: str) -> Q:
    return {
        "shared": Q(owner_farm=None, owner_program=None),
        "program": Q(owner_program__isnull=False),
        "farm": Q(owner_farm__isnull=False),
    }[owner]


def _page(view: OfAFarm | OfAProgram, rows: QuerySet[Any]) -> Response:
    page = view.paginate_queryset(rows)
    return view.get_paginated_response(view.get_serializer(page, many=True).data)
