"""The means of a farm's blocks, plain and drawn towards the mean of the farm."""

from __future__ import annotations

import uuid
from typing import Any, Final

from drf_spectacular.utils import OpenApiExample, OpenApiParameter, extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from balance.api.figures import FigureOut, given
from balance.api.samples.sample_sizes import VINE
from balance.api.samples.shrunken_out import DrawnTogetherOut, ShrunkenOut, mean_shown, together_shown, weight_shown
from balance.api.statistics import UNITS
from balance.samples.block_means import BlockMean, block_means, drawn_together, newest_season_of_farm
from records.api.fields import cultivar_field
from records.api.parameters import SEASON, text_of
from records.api.strict import StrictIntegerField, StrictQuery
from records.api.views import FarmView

NOT_WEIGHED: Final = "No vine of the block was weighed in this season."
NO_PROGRAM: Final = (
    "Other farms' means come only from the summaries that they consent to share; this answer is of this farm alone."
)
_ID: Final = "01991b5e-0000-7000-8000-0000000b10c"


class BlockMeanOut(ShrunkenOut):
    """One block's means."""

    block = serializers.UUIDField()
    name = serializers.CharField()
    cultivar = serializers.CharField(allow_null=True, help_text="Code from /cultivars; null: not stated.")
    n = serializers.IntegerField(help_text="Vines weighed.")
    vines = serializers.IntegerField(help_text="Vines that the mean is about: standing, or weighed in the season.")


class ShrunkenMeansOut(DrawnTogetherOut):
    """The means of a farm's blocks."""

    season = serializers.IntegerField(allow_null=True, help_text="Null: the farm has no dormant record yet.")
    farm_mean = FigureOut(help_text="The mean of its blocks, each weighted by how well it is known.")
    results = BlockMeanOut(many=True, help_text="In the order of the blocks' names.")


def _shown(blocks: list[BlockMean], season: int | None, unit: str) -> dict[str, Any]:
    weighed = [each for each in blocks if each.mean is not None]
    drawn = drawn_together(blocks)
    told = drawn.told
    shown = {block: mean_shown(mean, unit) for block, mean in drawn.of_block.items()}
    farm_mean = told.farm_means[0] if told.farm_means else None
    inputs = [
        given("blocks", len(blocks), "{block}"),
        given("blocks_weighed", len(weighed), "{block}"),
        given("vines_weighed", sum(each.n for each in weighed), VINE),
    ]
    return {
        "season": season,
        **together_shown(told, inputs, unit, NO_PROGRAM),
        "farm_mean": weight_shown(farm_mean, unit, " ".join(told.reasons)),
        "results": [_block(each, shown.get(each.block) or _nothing(unit)) for each in blocks],
    }


def _nothing(unit: str) -> dict[str, Any]:
    nothing = weight_shown(None, unit, NOT_WEIGHED)
    weights = dict.fromkeys(("weight_of_plain", "weight_of_farm", "weight_of_program"))
    return {"plain_mean": nothing, "standard_error": nothing, "shrunken_mean": nothing, **weights}


def _block(each: BlockMean, means: dict[str, Any]) -> dict[str, Any]:
    told = {"block": str(each.block), "name": each.name, "cultivar": each.cultivar, "n": each.n, "vines": each.vines}
    return told | means


def _example() -> dict[str, Any]:
    rows = (("Lower Terrace", 4, 0.86), ("Tarn Field", 38, 1.32), ("Upper Terrace", 40, 1.18))
    blocks = [
        BlockMean(uuid.UUID(f"{_ID}{number}"), name, "concord", n, mean, 0.4, 350)
        for number, (name, n, mean) in enumerate(rows)
    ]
    return _shown(blocks, 2027, "kg")


class ShrunkenMeans(FarmView):
    """The means of a farm's blocks, plain and shrunken."""

    serializer_class = ShrunkenMeansOut
    pagination_class = None

    @extend_schema(
        summary="Read the mean pruning weights of a farm's blocks, plain and shrunken",
        description="A mean of few vines is drawn towards the farm's mean, the more so the fewer the vines and the "
        "more alike the blocks; a block of which every vine was weighed keeps its mean. The plain mean stands beside "
        "it, with what each level weighs. Ask by cultivar: blocks of unlike cultivars tell little of each other.",
        parameters=[
            OpenApiParameter("season", SEASON, description="Harvest year; without it, the newest that was recorded."),
            OpenApiParameter("cultivar", text_of(60), description="Only blocks of this cultivar, by its code."),
            OpenApiParameter("unit", str, enum=UNITS, description="Unit of the answer; kg unless said."),
        ],
        responses=ShrunkenMeansOut,
        tags=["sampling"],
        examples=[OpenApiExample("Three blocks, one of four weights", value=_example(), response_only=True)],
    )
    def get(self, request: Request, farm: uuid.UUID) -> Response:  # noqa: ARG002
        query = StrictQuery.of(
            request,
            season=StrictIntegerField(min_value=1900, max_value=2100),
            cultivar=cultivar_field(required=False),
            unit=serializers.ChoiceField(choices=UNITS),
        )
        season = query.get("season") or newest_season_of_farm(self.opened)
        blocks = block_means(self.opened, season, query.get("cultivar")) if season is not None else []
        return Response(_shown(blocks, season, query.get("unit", "kg")))
