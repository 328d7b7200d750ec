"""The yield of a block, from its own records."""

from __future__ import annotations

import uuid
from typing import Any

from drf_spectacular.utils import OpenApiExample, OpenApiParameter, extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from balance.api.figures import given
from balance.api.yields.estimates_out import CONFIDENCE_PARAMETER, USUAL_CONFIDENCE, confidence_field
from balance.api.yields.yield_answers import YieldOut, yield_shown
from balance.formulas.yields.estimates import Estimate, share_of
from balance.missing_vines import Places
from balance.yields.block_yields import BlockYield, newest_count, yield_question
from balance.yields.cluster_weight_ways import SeasonWeights, YieldQuestion, yields_of
from records.api.parameters import SEASON
from records.api.strict import StrictIntegerField, StrictQuery
from records.api.views import FarmView
from records.services.vineyards import block_of

SEASON_OF_COUNT = OpenApiParameter(
    "season", SEASON, description="Harvest year; without it, the newest in which clusters were counted."
)
_BLOCK = uuid.UUID("01991b5e-0000-7000-8000-0000000b10c1")


class BlockYieldOut(YieldOut):
    """The yield of a block by every way that its records have something for."""

    block = serializers.UUIDField()
    season = serializers.IntegerField(allow_null=True, help_text="Null: no clusters were ever counted.")
    missing_vines = serializers.IntegerField(help_text="Places whose newest vine event says that the vine is missing.")
    young_vines = serializers.IntegerField(help_text="Vines planted in this season or in the two before it.")


def block_yield_shown(block: uuid.UUID, found: BlockYield, confidence: float) -> dict[str, Any]:
    """Give the yield of a block as the API shows it."""
    question = found.question
    inputs = [
        given("places", question.places),
        given("missing vines", found.places.missing),
        given(found.ground, question.area_m2, "m2"),
        *_sample("clusters per vine", question.clusters, "1"),
        *_sample("weight of a cluster in the lag phase", question.lag_phase, "kg"),
        *_sample("weight of a cluster this season", question.this_season, "kg"),
    ]
    for each in question.seasons:
        inputs.append(given(f"weight of a cluster at harvest {each.season}", each.final_kg, "kg"))
        inputs.append(given(f"weight of a cluster in the lag phase {each.season}", each.lag_phase_kg, "kg"))
    return {
        "block": block,
        "season": found.season,
        "missing_vines": found.places.missing,
        "young_vines": found.places.young,
        **yield_shown(yields_of(question), confidence, inputs),
    }


def _sample(name: str, estimate: Estimate | None, unit: str) -> list[dict[str, Any]]:
    value, n = (estimate.value, estimate.n) if estimate else (None, None)
    return [given(f"{name}, mean", value, unit), given(f"{name}, number of records", n)]


def _example() -> dict[str, Any]:
    """Show a block of the invented scenario."""
    question = YieldQuestion(
        places=352,
        missing=share_of(3, 352, 352),
        clusters=Estimate(41.5, 1.6, 19, 20),
        lag_phase=Estimate(0.058, 0.0021, 9, 10),
        seasons=(SeasonWeights(2025, 0.112, 0.054), SeasonWeights(2026, 0.118, 0.061)),
        area_m2=2943.0,
    )
    found = BlockYield(question, Places(352, 3, 0), 2027, "declared_area")
    return {**block_yield_shown(_BLOCK, found, USUAL_CONFIDENCE), "block": str(_BLOCK)}


class BlockYieldEstimate(FarmView):
    """The yield of a block."""

    serializer_class = BlockYieldOut
    pagination_class = None

    @extend_schema(
        summary="Estimate the yield of a block",
        description="From clusters counted in the season, clusters weighed in its lag phase, weights at harvest of "
        "earlier seasons, and the vines of the block less those that vine events name as missing. Every way to the "
        "weight of a cluster is shown with its interval, or with the reason why there is no number.",
        parameters=[SEASON_OF_COUNT, CONFIDENCE_PARAMETER],
        responses=BlockYieldOut,
        tags=["yield and thinning"],
        examples=[OpenApiExample("A block of 352 places", value=_example(), response_only=True)],
    )
    def get(self, request: Request, farm: uuid.UUID, block: uuid.UUID) -> Response:  # noqa: ARG002
        query = StrictQuery.of(
            request,
            season=StrictIntegerField(min_value=1900, max_value=2100),
            confidence=confidence_field(),
        )
        found = block_of(self.opened, block)
        season = query.get("season") or newest_count(self.opened, found)
        confidence = float(query.get("confidence", USUAL_CONFIDENCE))
        answer = yield_question(self.opened, found, season)
        return Response(BlockYieldOut(block_yield_shown(found.pk, answer, confidence)).data)
