"""The crop load of a block, for one harvest."""

from __future__ import annotations

import uuid
from typing import Any

import orjson
from drf_spectacular.utils import OpenApiExample, OpenApiParameter, extend_schema
from rest_framework.request import Request
from rest_framework.response import Response

from balance.api.crops.block_crop_answers import EXAMPLE, BlockCropLoadOut, counts_of, head_of, vines_as_json
from balance.api.crops.crop_answers import flags, solids
from balance.api.targets.blocks import as_plain_json
from balance.crops.block_crops import (
    Crop,
    crops_of,
    firmest,
    loads_of,
    newest_crop_season,
    soluble_solids_of,
    standing_in,
    winters_of,
)
from balance.crops.crops_by_vine import crops_of_vines
from balance.formulas.ranges import Range
from balance.ranges import range_for
from records.api.parameters import ROW_NUMBER, SEASON
from records.api.strict import StrictIntegerField, StrictQuery
from records.api.views import FarmView
from records.models import Block, Measure
from records.services.vineyards import block_of


class CropLoad(FarmView):
    """The crop load of a block."""

    serializer_class = BlockCropLoadOut
    pagination_class = None

    @extend_schema(
        summary="Read the crop load of a block",
        description="The crop of one harvest over the prunings weighed in the dormant season that follows it: of the "
        "whole block, of samples, and of every vine that was picked by itself. A vine that lacks one side is counted "
        "and has no number. At most 20,000 vines are answered at once; a larger block is asked for row by row, and its "
        "figures of the block stay those of the whole block.",
        parameters=[
            OpenApiParameter("season", SEASON, description="Of the harvest; without it, the newest that was recorded."),
            OpenApiParameter("row_number", ROW_NUMBER, description="Single vines of this row only."),
        ],
        responses=BlockCropLoadOut,
        tags=["crop load and vine size"],
        examples=[OpenApiExample("A block of two vines", value=EXAMPLE, response_only=True)],
    )
    def get(self, request: Request, farm: uuid.UUID, block: uuid.UUID) -> Response:  # noqa: ARG002
        query = StrictQuery.of(
            request,
            season=StrictIntegerField(min_value=1900, max_value=2100),
            row_number=StrictIntegerField(min_value=1, max_value=9999),
        )
        found = block_of(self.opened, block)
        season = query.get("season") or newest_crop_season(self.opened, found)
        crops = crops_of_vines(self.opened, found, season, query.get("row_number"))
        ranges = [
            range_for(self.opened, found, measure)
            for measure in (Measure.YIELD_TO_PRUNING_WEIGHT, Measure.SOLUBLE_SOLIDS)
        ]
        assigned, of_solids = (each.shown() if each else None for each in ranges)
        head = {"block": found.pk, **self._block(found, season, assigned, of_solids), "counts": counts_of(crops)}
        limits = Range(assigned["low"], assigned["high"], assigned["unit"]) if assigned else None
        opened = orjson.dumps(head, default=as_plain_json)[:-1]
        return Response(b"".join((opened, b',"results":[', vines_as_json(crops, limits), b"]}")))

    def _block(
        self, block: Block, season: int | None, assigned: dict[str, Any] | None, of_solids: dict[str, Any] | None
    ) -> dict[str, Any]:
        """Give what is told of the whole block."""
        crop, winter, brix = Crop(season or 0), None, None
        if season is not None:
            crop = crops_of(self.opened, block, season).get(season, crop)
            winter = winters_of(self.opened, block, season + 1).get(season + 1)
            brix = soluble_solids_of(self.opened, block, season)
        standing = 0 if crop.block_kg is None else standing_in(self.opened, block, crop.season)
        loads = loads_of(crop, winter, standing)
        head = head_of(crop, loads, winter, assigned)
        told = firmest(loads)
        ripe = solids(brix, of_solids)
        return {**head, "soluble_solids": ripe, "flags": flags(head[told.basis], ripe) if told else []}
