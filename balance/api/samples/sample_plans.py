"""Which vines of a block to weigh, in the order in which they are walked to."""

from __future__ import annotations

import secrets
import uuid
from typing import Any, Final

from django.utils import timezone
from drf_spectacular.utils import OpenApiExample, OpenApiParameter, extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from balance.api.samples.sample_answers import METHODS, SamplePlanOut, plan_as_json, plan_example
from balance.formulas.samples.sample_draw import LARGEST_SEED, SYSTEMATIC
from balance.samples.sampling import ROW_GROUPS, Drawing, Wanted, plan, season_ahead
from records.api.parameters import SEASON
from records.api.strict import StrictBooleanField, StrictIntegerField, StrictQuery
from records.api.views import FarmView
from records.services.vineyards import block_of

ERROR: Final = {"type": "integer", "minimum": 1, "maximum": 50}
CONFIDENCE: Final = {"type": "integer", "minimum": 50, "maximum": 99}
WANTED_PARAMETERS: Final = [
    OpenApiParameter("error", ERROR, description="Wanted error, half the interval [% of the mean]; 10 unless said."),
    OpenApiParameter("confidence", CONFIDENCE, description="Confidence level [%]; 95 unless said."),
]


class SamplePlan(FarmView):
    """The vines of a block to weigh."""

    serializer_class = SamplePlanOut
    pagination_class = None

    @extend_schema(
        summary="Draw the vines of a block to weigh",
        description="How many vines give the mean pruning weight as close as wanted, and which: every k-th along the "
        "walking order, or a share of each group of rows. The spread comes from the block's newest earlier season with "
        "at least 10 weights, else from a stated default. Vines whose newest event says that they are missing are "
        "skipped. The seed in the answer draws the same vines again on any machine, as long as the block's vines are "
        "the same. After a stratified draw, a larger `vines` with the same seed and `row_groups` names the same vines "
        "and further ones.",
        parameters=[
            *WANTED_PARAMETERS,
            OpenApiParameter(
                "vines",
                {"type": "integer", "minimum": 1, "maximum": 100_000},
                description="Draw so many instead, and tell the error to expect.",
            ),
            OpenApiParameter("method", str, enum=list(METHODS), description="How to draw; systematic unless said."),
            OpenApiParameter(
                "seed",
                {"type": "integer", "minimum": 0, "maximum": LARGEST_SEED},
                description="Of an earlier draw; without it, a new one is made.",
            ),
            OpenApiParameter(
                "row_groups",
                {"type": "integer", "minimum": 1, "maximum": 9999},
                description=f"For the stratified draw: groups of neighbouring rows; {ROW_GROUPS} unless said. 1 draws "
                "from the whole block at random; as many as rows, from each row.",
            ),
            OpenApiParameter(
                "serpentine", bool, description="Walk every second row backwards; the vines are the same."
            ),
            OpenApiParameter(
                "season", SEASON, description="Harvest year; without it, that of this winter or of the next."
            ),
        ],
        responses=SamplePlanOut,
        tags=["sampling"],
        examples=[OpenApiExample("Two vines of three", value=plan_example(), response_only=True)],
    )
    def get(self, request: Request, farm: uuid.UUID, block: uuid.UUID) -> Response:  # noqa: ARG002
        query = StrictQuery.of(
            request,
            **wanted_fields(),
            vines=StrictIntegerField(min_value=1, max_value=100_000),
            method=serializers.ChoiceField(choices=list(METHODS)),
            seed=StrictIntegerField(min_value=0, max_value=LARGEST_SEED),
            row_groups=StrictIntegerField(min_value=1, max_value=9999),
            serpentine=StrictBooleanField(),
            season=StrictIntegerField(min_value=1900, max_value=2100),
        )
        found = block_of(self.opened, block)
        season = query.get("season") or season_ahead(self.opened.farm, timezone.now())
        wanted = Wanted(query.get("error", 10), query.get("confidence", 95), query.get("vines"))
        drawing = Drawing(
            method=query.get("method", SYSTEMATIC.code),
            seed=query["seed"] if "seed" in query else secrets.randbelow(LARGEST_SEED + 1),
            groups=query.get("row_groups", ROW_GROUPS),
            serpentine=query.get("serpentine", False),
        )
        return Response(plan_as_json(found, plan(self.opened, found, season, wanted, drawing), wanted, drawing))


def wanted_fields() -> dict[str, Any]:
    """Give the fields of how close and how sure a mean should be."""
    return {
        "error": StrictIntegerField(min_value=1, max_value=50),
        "confidence": StrictIntegerField(min_value=50, max_value=99),
    }
