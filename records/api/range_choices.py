"""Which range a farm chose for a measure: for one block, or for all blocks that chose none."""

from __future__ import annotations

import uuid
from typing import Any, Final

from django.db.models import QuerySet
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiExample, extend_schema, extend_schema_field
from rest_framework import serializers, status
from rest_framework.request import Request
from rest_framework.response import Response

from records.api.fields import RangeField
from records.api.preconditions import answer, expected_version, place_of
from records.api.strict import StrictQuery, StrictSerializer, StrictUUIDField
from records.api.views import READ_AND_MANAGE, FarmView
from records.models import Measure, RangeChoice
from records.services.range_choices import choice_of, choices_of, choose_range, remove_choice

_EXAMPLE: Final = {
    "id": "01991b5e-0000-7000-8000-00000000c401",
    "measure": "yield_to_pruning_weight",
    "range": "own-juice-crop-load@1",
    "block": "01991b5e-0000-7000-8000-0000000b10c1",
    "version": 1,
    "received_at": "2026-11-20T15:04:05Z",
    "changed_at": "2026-11-20T15:04:05Z",
}
_NEW: Final = {name: _EXAMPLE[name] for name in ("measure", "range", "block")}


class RangeChoiceIn(StrictSerializer):
    """A range to choose."""

    id = StrictUUIDField(required=False, help_text="Made by the client, so that sending again is safe.")
    measure = serializers.ChoiceField(choices=Measure.choices, help_text="What is held against the range.")
    range = RangeField(help_text="Code from the farm's /ranges; the newest version, unless `code@version` names one.")
    block = StrictUUIDField(
        required=False, allow_null=True, help_text="Left out: for every block of the farm that chose none itself."
    )


class RangeChoiceOut(serializers.ModelSerializer[RangeChoice]):
    """A choice; it stays with the version of the range that it named."""

    range = serializers.SerializerMethodField(help_text="Code and version.")
    block = serializers.UUIDField(source="block_id", read_only=True, allow_null=True, help_text="Null: the farm.")

    class Meta:
        model = RangeChoice
        fields = [*_EXAMPLE]

    @extend_schema_field(OpenApiTypes.STR)
    def get_range(self, choice: RangeChoice) -> str:
        return f"{choice.range.code}@{choice.range.range_version}"


class RangeChoices(FarmView):
    """The choices of a farm."""

    rights = READ_AND_MANAGE
    keyset = ("id",)
    serializer_class = RangeChoiceOut

    def get_queryset(self) -> QuerySet[RangeChoice]:
        found: QuerySet[RangeChoice] = choices_of(self.opened)
        return found

    @extend_schema(
        summary="List the ranges that a farm chose",
        description="A figure is held against the range that was chosen for its block, else for the farm, else against "
        "the shared range of its cultivar or group.",
        responses=RangeChoiceOut(many=True),
        tags=["catalogues"],
        examples=[OpenApiExample("For one block", value=_EXAMPLE, response_only=True)],
    )
    def get(self, request: Request, farm: uuid.UUID) -> Response:  # noqa: ARG002
        StrictQuery.of(request, paged=True)
        page = self.paginate_queryset(self.get_queryset())
        return self.get_paginated_response(self.get_serializer(page, many=True).data)

    @extend_schema(
        summary="Choose a range",
        description="One for each measure and block; to choose another, remove the former first. The same choice "
        "again, with or without an id of the client's own, changes nothing and answers 200.",
        request=RangeChoiceIn,
        responses={200: RangeChoiceOut, 201: RangeChoiceOut},
        tags=["catalogues"],
        examples=[
            OpenApiExample("For one block", value=_NEW, request_only=True),
            OpenApiExample("The choice", value=_EXAMPLE, response_only=True),
        ],
    )
    def post(self, request: Request, farm: uuid.UUID) -> Response:
        StrictQuery.of(request)
        sent = RangeChoiceIn(data=request.data, context={"opened": self.opened})
        sent.is_valid(raise_exception=True)
        told: dict[str, Any] = sent.validated_data
        stored = choose_range(
            self.opened, told.get("id"), measure=told["measure"], chosen=told["range"], block_id=told.get("block")
        )
        location = place_of(request, "range-choice", farm=farm, choice=stored.row.pk) if stored.created else None
        return answer(RangeChoiceOut(stored.row).data, stored.row, created=stored.created, location=location)


class OneRangeChoice(FarmView):
    """One choice of a farm."""

    rights = READ_AND_MANAGE
    serializer_class = RangeChoiceOut

    @extend_schema(
        summary="Read a choice of a range",
        description="One choice, with its version as ETag.",
        responses=RangeChoiceOut,
        tags=["catalogues"],
        examples=[OpenApiExample("For one block", value=_EXAMPLE, response_only=True)],
    )
    def get(self, request: Request, farm: uuid.UUID, choice: uuid.UUID) -> Response:  # noqa: ARG002
        StrictQuery.of(request)
        found = choice_of(self.opened, choice)
        return answer(RangeChoiceOut(found).data, found)

    @extend_schema(
        summary="Remove a choice of a range",
        description="From the next request on, the farm's choice holds for the block, else the shared range of its "
        "cultivar or group. What was chosen is kept in the farm's history.",
        responses={204: None},
        tags=["catalogues"],
    )
    def delete(self, request: Request, farm: uuid.UUID, choice: uuid.UUID) -> Response:  # noqa: ARG002
        StrictQuery.of(request)
        remove_choice(self.opened, choice, version=expected_version(request))
        return Response(status=status.HTTP_204_NO_CONTENT)
