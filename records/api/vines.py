"""Rows and vines of a block."""

from __future__ import annotations

import uuid
from typing import Any

from django.db.models import QuerySet
from drf_spectacular.utils import OpenApiExample, OpenApiParameter, extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from records.api.fields import FormulaField, FormulaNamed
from records.api.parameters import ROW_NUMBER
from records.api.preconditions import answer, expected_version, place_of
from records.api.strict import StrictCharField, StrictIntegerField, StrictQuery, StrictSerializer, StrictUUIDField
from records.api.views import READ_AND_MANAGE, FarmView
from records.models import Row, Vine
from records.services.vineyards import block_of, change_vine, create_row, create_vine, plant_row, vine_of

ROW_EXAMPLE = {
    "id": "01991b5e-0000-7000-8000-000000000a01",
    "block": "01991b5e-0000-7000-8000-0000000b10c1",
    "number": 3,
    "version": 1,
    "received_at": "2026-11-20T15:04:05Z",
}
VINE_EXAMPLE = {
    "id": "01991b5e-0000-7000-8000-00000000b1e7",
    "block": "01991b5e-0000-7000-8000-0000000b10c1",
    "row_number": 3,
    "place": 7,
    "label": "",
    "rootstock": "",
    "year_planted": None,
    "pruning_formula": None,
    "version": 1,
    "received_at": "2026-11-20T15:04:05Z",
    "changed_at": "2026-11-20T15:04:05Z",
}


class RowIn(StrictSerializer):
    """A new row, planted or not."""

    id = StrictUUIDField(required=False, help_text="Made by the client, so that sending again is safe.")
    number = StrictIntegerField(min_value=1, max_value=9999, help_text="As the farm numbers its rows.")
    vines = StrictIntegerField(
        min_value=0, max_value=2000, required=False, help_text="Vines to create at places 1 to this number."
    )


class RowOut(serializers.ModelSerializer[Row]):
    """A row of a block."""

    class Meta:
        model = Row
        fields = [*ROW_EXAMPLE]


class VineChange(StrictSerializer):
    """What may be said of a vine beyond its place."""

    label = StrictCharField(max_length=60, required=False, allow_blank=True, help_text="What the farm calls it.")  # type: ignore[assignment]
    rootstock = StrictCharField(max_length=80, required=False, allow_blank=True, help_text="Where it differs.")
    year_planted = StrictIntegerField(min_value=1700, max_value=2100, required=False, allow_null=True)
    pruning_formula = FormulaField(required=False, allow_null=True, help_text="The formula for this vine alone.")


class VinePatch(VineChange):
    """A change of a vine, with its reason."""

    reason = StrictCharField(
        max_length=400, required=False, allow_blank=True, help_text="Why; kept with the old version."
    )


class VineIn(VineChange):
    """A new vine."""

    id = StrictUUIDField(required=False, help_text="Made by the client, so that sending again is safe.")
    row_number = StrictIntegerField(min_value=1, max_value=9999, help_text="A row of this block.")
    place = StrictIntegerField(min_value=1, max_value=9999, help_text="Counted along the row, from 1.")


class VineOut(serializers.ModelSerializer[Vine]):
    """A vine."""

    pruning_formula = FormulaNamed()

    class Meta:
        model = Vine
        fields = [*VINE_EXAMPLE]


class Rows(FarmView):
    """The rows of a block."""

    rights = READ_AND_MANAGE
    keyset = ("number", "id")
    serializer_class = RowOut

    def get_queryset(self) -> QuerySet[Row]:
        block = block_of(self.opened, self.kwargs["block"])
        return Row.objects.for_farm(self.opened.farm).filter(block=block)

    @extend_schema(
        summary="List the rows of a block",
        description="By number.",
        responses=RowOut(many=True),
        tags=["blocks and vines"],
        examples=[OpenApiExample("One row", value=ROW_EXAMPLE, response_only=True)],
    )
    def get(self, request: Request, farm: uuid.UUID, block: uuid.UUID) -> Response:  # noqa: ARG002
        StrictQuery.of(request, paged=True)
        page = self.paginate_queryset(self.get_queryset())
        return self.get_paginated_response(self.get_serializer(page, many=True).data)

    @extend_schema(
        summary="Create a row",
        description="With `vines`, the row is planted at once: a vine at each place from 1 to that number.",
        request=RowIn,
        responses={200: RowOut, 201: RowOut},
        tags=["blocks and vines"],
        examples=[
            OpenApiExample("A row of 24 vines", value={"number": 3, "vines": 24}, request_only=True),
            OpenApiExample("The row", value=ROW_EXAMPLE, response_only=True),
        ],
    )
    def post(self, request: Request, farm: uuid.UUID, block: uuid.UUID) -> Response:  # noqa: ARG002
        StrictQuery.of(request)
        sent = RowIn(data=request.data)
        sent.is_valid(raise_exception=True)
        values: dict[str, Any] = sent.validated_data
        stored = create_row(self.opened, block_of(self.opened, block), values.get("id"), values["number"])
        plant_row(self.opened, stored.row, values.get("vines", 0))
        return answer(RowOut(stored.row).data, stored.row, created=stored.created)


class Vines(FarmView):
    """The vines of a block, in walking order."""

    rights = READ_AND_MANAGE
    keyset = ("row_number", "place", "id")
    serializer_class = VineOut

    def get_queryset(self) -> QuerySet[Vine]:
        block = block_of(self.opened, self.kwargs["block"])
        return Vine.objects.for_farm(self.opened.farm).filter(block=block).select_related("pruning_formula")

    @extend_schema(
        summary="List the vines of a block",
        description="In walking order: by row, then by place.",
        parameters=[OpenApiParameter("row_number", ROW_NUMBER, description="Only this row.")],
        responses=VineOut(many=True),
        tags=["blocks and vines"],
        examples=[OpenApiExample("One vine", value=VINE_EXAMPLE, response_only=True)],
    )
    def get(self, request: Request, farm: uuid.UUID, block: uuid.UUID) -> Response:  # noqa: ARG002
        query = StrictQuery.of(request, paged=True, row_number=StrictIntegerField(min_value=1, max_value=9999))
        page = self.paginate_queryset(self.get_queryset().filter(**query))
        return self.get_paginated_response(self.get_serializer(page, many=True).data)

    @extend_schema(
        summary="Create a vine",
        description="At a place in a row of the block.",
        request=VineIn,
        responses={200: VineOut, 201: VineOut},
        tags=["blocks and vines"],
        examples=[
            OpenApiExample("A vine", value={"row_number": 3, "place": 7}, request_only=True),
            OpenApiExample("The vine", value=VINE_EXAMPLE, response_only=True),
        ],
    )
    def post(self, request: Request, farm: uuid.UUID, block: uuid.UUID) -> Response:
        StrictQuery.of(request)
        sent = VineIn(data=request.data, context={"opened": self.opened})
        sent.is_valid(raise_exception=True)
        columns = dict(sent.validated_data)
        stored = create_vine(self.opened, block_of(self.opened, block), columns.pop("id", None), columns)
        location = place_of(request, "vine", farm=farm, vine=stored.row.pk) if stored.created else None
        return answer(VineOut(stored.row).data, stored.row, created=stored.created, location=location)


class OneVine(FarmView):
    """One vine of a farm."""

    rights = READ_AND_MANAGE
    serializer_class = VineOut

    @extend_schema(
        summary="Read a vine",
        description="One vine, with its version as ETag.",
        responses=VineOut,
        tags=["blocks and vines"],
        examples=[OpenApiExample("The vine", value=VINE_EXAMPLE, response_only=True)],
    )
    def get(self, request: Request, farm: uuid.UUID, vine: uuid.UUID) -> Response:  # noqa: ARG002
        StrictQuery.of(request)
        found = vine_of(self.opened, vine)
        return answer(VineOut(found).data, found)

    @extend_schema(
        summary="Change a vine",
        description="Send the members to change and the ETag that you read as If-Match; the old version is kept.",
        request=VinePatch,
        responses=VineOut,
        tags=["blocks and vines"],
        examples=[
            OpenApiExample("Label a vine", value={"label": "post 4"}, request_only=True),
            OpenApiExample("The vine", value=VINE_EXAMPLE, response_only=True),
        ],
    )
    def patch(self, request: Request, farm: uuid.UUID, vine: uuid.UUID) -> Response:  # noqa: ARG002
        StrictQuery.of(request)
        version = expected_version(request)
        sent = VinePatch(data=request.data, context={"opened": self.opened})
        sent.is_valid(raise_exception=True)
        columns = dict(sent.validated_data)
        reason = columns.pop("reason", "")
        changed = change_vine(self.opened, vine, columns, version=version, reason=reason)
        return answer(VineOut(changed).data, changed)
