"""Blocks of a farm."""

from __future__ import annotations

import uuid

from django.db.models import QuerySet
from drf_spectacular.utils import OpenApiExample, extend_schema
from rest_framework.request import Request
from rest_framework.response import Response

from records.api.block_members import (
    BLOCK_EXAMPLE,
    BLOCK_WITH_BOUNDARY,
    NEW_BLOCK,
    BlockIn,
    BlockOut,
    BlockPatch,
    BlockWithBoundary,
)
from records.api.boundaries import (
    FeatureCollectionOut,
    collection,
    collection_example,
)
from records.api.forms import (
    GEOJSON,
    GeoJsonRenderer,
    InForms,
    form_asked,
    form_field,
    form_parameter,
    in_forms,
    renderers,
)
from records.api.preconditions import answer, expected_version, place_of
from records.api.strict import StrictQuery
from records.api.views import READ_AND_MANAGE, FarmView
from records.models import Block
from records.services.vineyards import block_of, change_block, create_block


class Blocks(InForms, FarmView):
    """The blocks of a farm."""

    rights = READ_AND_MANAGE
    keyset = ("name", "id")
    serializer_class = BlockOut
    renderer_classes = renderers(GeoJsonRenderer)

    @property
    def page_limits(self) -> tuple[int, int]:
        """Fewer where each comes with its outline: fifty of the longest are some 20 MB."""
        return (50, 50) if form_asked(self.request) == GeoJsonRenderer.format else (50, 500)

    def get_queryset(self) -> QuerySet[Block]:
        return Block.objects.for_farm(self.opened.farm).select_related("pruning_formula")

    @extend_schema(
        summary="List the blocks of a farm",
        description="All blocks, by name. As GeoJSON, a FeatureCollection with the outline of each; a block without "
        "one has the geometry null. A page holds at most 50: follow next.",
        parameters=[form_parameter("geojson")],
        responses=in_forms(BlockOut(many=True), geojson=FeatureCollectionOut),
        tags=["blocks and vines"],
        examples=[
            OpenApiExample("One block", value=BLOCK_EXAMPLE, response_only=True, media_type="application/json"),
            OpenApiExample(
                "One outline", value=collection_example(BLOCK_EXAMPLE), response_only=True, media_type=GEOJSON
            ),
        ],
    )
    def get(self, request: Request, farm: uuid.UUID) -> Response:  # noqa: ARG002
        StrictQuery.of(request, paged=True, **{"as": form_field("geojson")})
        outlined = form_asked(request) == GeoJsonRenderer.format
        blocks = self.get_queryset()
        page = self.paginate_queryset(blocks if outlined else blocks.defer("boundary")) or []
        told = self.get_serializer(page, many=True).data
        answer = self.get_paginated_response(told)
        if outlined:
            links = {name: value for name, value in answer.data.items() if name != "results"}
            answer.data = collection(page, told, links)
        return answer

    @extend_schema(
        summary="Create a block",
        description="Vines of one cultivar on one rootstock, planted and trained alike. With an id of the client's "
        "own, sending it again is safe.",
        request=BlockIn,
        responses={200: BlockWithBoundary, 201: BlockWithBoundary},
        tags=["blocks and vines"],
        examples=[
            OpenApiExample("A block of Concord", value=NEW_BLOCK, request_only=True),
            OpenApiExample("The block", value=BLOCK_WITH_BOUNDARY, response_only=True),
        ],
    )
    def post(self, request: Request, farm: uuid.UUID) -> Response:
        StrictQuery.of(request)
        sent = BlockIn(data=request.data, context={"opened": self.opened})
        sent.is_valid(raise_exception=True)
        columns = dict(sent.validated_data)
        stored = create_block(self.opened, columns.pop("id", None), columns)
        location = place_of(request, "block", farm=farm, block=stored.row.pk) if stored.created else None
        return answer(BlockWithBoundary(stored.row).data, stored.row, created=stored.created, location=location)


class OneBlock(FarmView):
    """One block."""

    rights = READ_AND_MANAGE
    serializer_class = BlockWithBoundary

    @extend_schema(
        summary="Read a block",
        description="One block with its outline, and its version as ETag.",
        responses=BlockWithBoundary,
        tags=["blocks and vines"],
        examples=[OpenApiExample("The block", value=BLOCK_WITH_BOUNDARY, response_only=True)],
    )
    def get(self, request: Request, farm: uuid.UUID, block: uuid.UUID) -> Response:  # noqa: ARG002
        StrictQuery.of(request)
        found = block_of(self.opened, block)
        return answer(BlockWithBoundary(found).data, found)

    @extend_schema(
        summary="Change a block",
        description="Send the members to change and the ETag that you read as If-Match; the old version is kept.",
        request=BlockPatch,
        responses=BlockWithBoundary,
        tags=["blocks and vines"],
        examples=[
            OpenApiExample("Choose a formula", value={"pruning_formula": "american-30-10-lb"}, request_only=True),
            OpenApiExample("The block", value=BLOCK_WITH_BOUNDARY, response_only=True),
        ],
    )
    def patch(self, request: Request, farm: uuid.UUID, block: uuid.UUID) -> Response:  # noqa: ARG002
        StrictQuery.of(request)
        version = expected_version(request)
        sent = BlockPatch(data=request.data, context={"opened": self.opened})
        sent.is_valid(raise_exception=True)
        columns = dict(sent.validated_data)
        reason = columns.pop("reason", "")
        changed = change_block(self.opened, block, columns, version=version, reason=reason)
        return answer(BlockWithBoundary(changed).data, changed)
