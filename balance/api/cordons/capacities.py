"""Fruiting capacity that cordons have lost, and how many to replace each winter."""

from __future__ import annotations

import uuid
from collections.abc import Mapping
from typing import Any, Final

from django.utils import timezone
from drf_spectacular.utils import OpenApiExample, OpenApiParameter, extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from balance.api.cordons.capacities_out import CordonCapacityOut, Shown, capacity_shown, example
from balance.cordons.asked_blocks import block_named
from balance.cordons.capacity import NODES_AT_FIRST, cordons_now, standing_of
from balance.cordons.lives import lives_of
from balance.cordons.outlook import history_of, outlook_of
from balance.formulas.cordons.capacity import MOST_WINTERS, MOST_YEARS, YEARS_TO_FULL
from balance.samples.sampling import season_ahead
from records.api.parameters import SEASON
from records.api.strict import StrictDecimalField, StrictIntegerField, StrictQuery, StrictUUIDField
from records.api.views import FarmView

USUAL_WINTERS: Final = 5
MOST_PACE: Final = 100_000
WEAK: Final = "weak"


def _whole(low: int, high: int) -> dict[str, Any]:
    return {"type": "integer", "minimum": low, "maximum": high}


_PARAMETERS: Final = [
    OpenApiParameter("block", uuid.UUID, description="Only this block."),
    OpenApiParameter("season", SEASON, description="As known in this season; without it, the newest."),
    OpenApiParameter(
        "pace", _whole(0, MOST_PACE), description="Arms that are laid down each winter; none unless said."
    ),
    OpenApiParameter("winters", _whole(1, MOST_WINTERS), description="How far ahead; 5 unless said."),
    OpenApiParameter(
        "limit_percent",
        {"type": "number", "minimum": 0, "maximum": 100},
        description="The most that may be lost [%]: then the smallest pace that keeps it is looked for.",
    ),
    OpenApiParameter(
        "years_to_full", _whole(1, MOST_YEARS), description="From laying an arm down until it bears in full; 2 unless "
        "said (Univ. California: about two years).",
    ),
    OpenApiParameter(
        "vigour", str, enum=list(NODES_AT_FIRST), description="Of the vines on which arms are laid down; weak unless "
        "said: 10 nodes in the first winter, 15 on vigorous ones (North Carolina).",
    ),
]  # fmt: skip


class CordonCapacity(FarmView):
    """The fruiting capacity of a farm's cordons, or a block's."""

    serializer_class = CordonCapacityOut
    pagination_class = None

    @extend_schema(
        summary="Read what cordons have lost, and how many to replace each winter",
        description="The share of the fruiting capacity that is blank, dead or not yet filled by a young arm, block by "
        "block; how it goes on under a pace of replacement, with the failures that are foreseen; and the smallest pace "
        "that keeps it under a limit, or why there is none. No source prints a limit: it is the farm's own.",
        parameters=_PARAMETERS,
        responses=CordonCapacityOut,
        tags=["cordons"],
        examples=[OpenApiExample("An invented block", value=example(), response_only=True)],
    )
    def get(self, request: Request, farm: uuid.UUID) -> Response:  # noqa: ARG002
        query = StrictQuery.of(
            request,
            block=StrictUUIDField(),
            season=StrictIntegerField(min_value=1900, max_value=2100),
            pace=StrictIntegerField(min_value=0, max_value=MOST_PACE),
            winters=StrictIntegerField(min_value=1, max_value=MOST_WINTERS),
            limit_percent=StrictDecimalField(max_digits=27, decimal_places=12, min_value=0, max_value=100),
            years_to_full=StrictIntegerField(min_value=1, max_value=MOST_YEARS),
            vigour=serializers.ChoiceField(choices=list(NODES_AT_FIRST)),
        )
        return Response(CordonCapacityOut(capacity_shown(self._shown(query))).data)

    def _shown(self, query: Mapping[str, Any]) -> Shown:
        block = block_named(self.opened, query.get("block"))
        lives = lives_of(self.opened, block, query.get("season"))
        season = query.get("season")
        if season is None:
            season = int(lives.lasts.max()) if len(lives) else season_ahead(self.opened.farm, timezone.now())
        now = cordons_now(
            self.opened, block, season, query.get("vigour", WEAK), query.get("years_to_full", YEARS_TO_FULL)
        )
        limit = query.get("limit_percent")
        return Shown(
            block=block.pk if block else None,
            season=season,
            now=now,
            assumed=standing_of(now),
            outlook=outlook_of(history_of(lives, season, None), query.get("winters", USUAL_WINTERS)),
            pace=query.get("pace", 0),
            limit_percent=None if limit is None else float(limit),
        )
