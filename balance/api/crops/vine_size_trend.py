"""How the vine size of a block has moved, and what that says for next winter's formula."""

from __future__ import annotations

import uuid
from typing import Any, Final

from drf_spectacular.utils import OpenApiExample, OpenApiParameter, extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from balance.api.crops.block_crop_answers import BlockLoadOut, load_shown
from balance.api.crops.crop_answers import RANGE_EXAMPLE
from balance.api.figures import ComputedOut, FigureOut, computed, figure, given
from balance.crops.block_crops import BASES, WHOLE_BLOCK, BlockLoad
from balance.crops.crop_words import ADVICE_ONLY, NO_RANGE, OTHER_VINES
from balance.crops.size_trends import BlockTrend, trend_of
from balance.formulas.crops.quotients import Quotient
from balance.formulas.crops.size_advice import ADVICE, LOADS, CropBetween, advise
from balance.formulas.crops.size_steps import steps_of_trend
from balance.formulas.crops.size_trend import JUDGEMENTS, METHOD, SizeTrend, size_trend
from balance.formulas.crops.winters import Winter, winter_of
from balance.formulas.ranges import ABOVE
from balance.ranges import range_for
from records.api.strict import StrictQuery
from records.api.views import FarmView
from records.models import Measure
from records.services.vineyards import block_of

CONFIDENCES: Final = (80, 90, 95)


class CropBeforeOut(BlockLoadOut):
    """The crop load of the harvest before a winter, on the firmest basis that there is."""

    season = serializers.IntegerField(help_text="Of the harvest.")
    basis = serializers.ChoiceField(choices=BASES)


class WinterOut(serializers.Serializer[Any]):
    """The mean prunings of one winter."""

    season = serializers.IntegerField(help_text="The dormant season: the year of the harvest after it.")
    n = serializers.IntegerField(help_text="Vines weighed.")
    mean_kg = serializers.FloatField(help_text="[kg a vine]")
    standard_deviation_kg = serializers.FloatField(allow_null=True, help_text="Of the vines: divisor n − 1.")
    low_kg = serializers.FloatField(allow_null=True, help_text="Lower end of the mean's 95 % interval.")
    high_kg = serializers.FloatField(allow_null=True, help_text="Upper end of the mean's 95 % interval.")
    crop_before = CropBeforeOut(allow_null=True, help_text="Null: no crop load of the harvest before this winter.")


class AdviceOut(serializers.Serializer[Any]):
    """What to consider for next winter's formula."""

    code = serializers.ChoiceField(choices=ADVICE)
    sentence = serializers.CharField()
    load = serializers.ChoiceField(choices=LOADS, help_text="Where the crop lay in most of the judged seasons.")
    judged_seasons = serializers.IntegerField(help_text="Harvests between the winters that have a verdict.")


class VineSizeTrendOut(ComputedOut):
    """The trend of a block's vine size over all its winters."""

    block = serializers.UUIDField()
    judgement = serializers.ChoiceField(choices=JUDGEMENTS)
    reason = serializers.CharField(help_text="Why it is judged so.")
    change_a_year = FigureOut(help_text="Along the line [% a year].")
    low = FigureOut(help_text="Lower end of its interval.")
    high = FigureOut(help_text="Upper end of its interval.")
    robust_change_a_year = FigureOut(help_text="By the median of the slopes between any two winters.")
    change_in_all = FigureOut(help_text="Along the line from the first winter to the last [%].")
    confidence = serializers.IntegerField(help_text="Of the interval of the change [%].")
    weighed_in_all = serializers.IntegerField(help_text="Vines weighed in every one of the winters.")
    winters = WinterOut(many=True)
    advice = AdviceOut()


def trend_shown(told: BlockTrend, confidence: int, assigned: dict[str, Any] | None) -> dict[str, Any]:
    """Give the computed members of the answer."""
    inputs = [
        given("confidence", confidence, "%"),
        *(given(f"mean_pruning_weight_{season}", winter.mean, "kg") for season, winter in told.winters.items()),
        *(given(f"crop_load_{season}", load.quotient.value) for season, load in told.loads.items()),
    ]
    return {
        **computed(METHOD, inputs, told.steps, more=_cautions(told, assigned)),
        "judgement": told.trend.judgement,
        "reason": told.trend.reason,
        **_changes(told.trend),
        "confidence": confidence,
        "weighed_in_all": told.in_all,
        "winters": [_winter_shown(winter, told.loads, assigned) for winter in told.winters.values()],
        "advice": {
            "code": told.advice.code,
            "sentence": told.advice.sentence,
            "load": told.advice.load,
            "judged_seasons": told.advice.judged_seasons,
        },
    }


def _changes(trend: SizeTrend) -> dict[str, Any]:
    shares = {
        "change_a_year": trend.change,
        "low": trend.low,
        "high": trend.high,
        "robust_change_a_year": trend.robust_change,
        "change_in_all": trend.over_all,
    }
    return {
        name: figure(None, "%", reason=trend.reason) if share is None else figure(round(100 * share, 6), "%")
        for name, share in shares.items()
    }


def _winter_shown(winter: Winter, loads: dict[int, BlockLoad], assigned: dict[str, Any] | None) -> dict[str, Any]:
    season = winter.season - 1
    load = loads.get(season)
    return {
        "season": winter.season,
        "n": winter.n,
        "mean_kg": winter.mean,
        "standard_deviation_kg": winter.standard_deviation,
        "low_kg": winter.low,
        "high_kg": winter.high,
        "crop_before": {**load_shown(load, assigned), "season": season, "basis": load.basis} if load else None,
    }


def _cautions(told: BlockTrend, assigned: dict[str, Any] | None) -> list[str]:
    said = [ADVICE_ONLY]
    if assigned is None:
        said.append(NO_RANGE)
    if any(winter.n > told.in_all for winter in told.winters.values()):
        said.append(OTHER_VINES.format(in_all=told.in_all))
    return said


def _example() -> dict[str, Any]:
    sizes = {2024: 1.52, 2025: 1.36, 2026: 1.21, 2027: 1.1}
    winters = {season: winter_of(season, 24, mean, 0.4, 24) for season, mean in sizes.items()}
    loads, crops = {}, []
    for season, ratio in ((2024, 22.0), (2025, 23.5), (2026, 21.0)):
        wood = 24 * sizes[season + 1]
        loads[season] = BlockLoad(WHOLE_BLOCK, Quotient(ratio, "ok", None), ratio * wood, wood, 24, ratio, ratio)
        crops.append(CropBetween(season, ratio, ABOVE, sizes[season], sizes[season + 1]))
    trend = size_trend(list(sizes), list(sizes.values()))
    told = BlockTrend(winters, {}, loads, 24, trend, advise(trend, crops), steps_of_trend(trend, sizes, crops))
    return {"block": "01991b5e-0000-7000-8000-0000000b10c1", **trend_shown(told, 90, RANGE_EXAMPLE)}


class VineSizeTrend(FarmView):
    """How the vine size of a block has moved."""

    serializer_class = VineSizeTrendOut
    pagination_class = None

    @extend_schema(
        summary="Read how the vine size of a block has moved, and what that says for next winter",
        description="The mean prunings of every winter, the line through their logarithms with its interval, and the "
        "crop load of the harvest before each winter. Vine size is weakening, gaining or steady, or there are not "
        "enough years to tell; read together with the crops that stood between, that says what to consider for next "
        "winter's formula. It advises and changes nothing. The size of this block a metre is at `vine-size`.",
        parameters=[
            OpenApiParameter(
                "confidence", int, enum=CONFIDENCES, description="Of the interval of the change [%]; 90 unless said."
            )
        ],
        responses=VineSizeTrendOut,
        tags=["crop load and vine size"],
        examples=[OpenApiExample("Heavily cropped, and losing size", value=_example(), response_only=True)],
    )
    def get(self, request: Request, farm: uuid.UUID, block: uuid.UUID) -> Response:  # noqa: ARG002
        query = StrictQuery.of(request, confidence=serializers.ChoiceField(choices=CONFIDENCES))
        found = block_of(self.opened, block)
        confidence = int(query.get("confidence", 90))
        assigned = range_for(self.opened, found, Measure.YIELD_TO_PRUNING_WEIGHT)
        shown = assigned.shown() if assigned else None
        told = trend_of(self.opened, found, confidence / 100, shown)
        return Response({"block": found.pk, **trend_shown(told, confidence, shown)})
