"""The size of a block's vines in one winter."""

from __future__ import annotations

import uuid
from typing import Any, Final

from drf_spectacular.utils import OpenApiExample, OpenApiParameter, extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from balance.api.figures import ComputedOut, FigureOut, computed, figure, given
from balance.blocks import newest_season
from balance.crops.crop_questions import written
from balance.crops.vine_sizes import BlockSizes, Size, rounded, sizes_of
from balance.formulas.counting import counted
from balance.formulas.crops.vine_size import METHOD
from balance.formulas.methods import Working
from balance.formulas.samples.sample_estimate import MeanEstimate, estimate_mean
from balance.ranges import range_for
from records.api.parameters import SEASON
from records.api.strict import StrictIntegerField, StrictQuery
from records.api.views import FarmView
from records.models import Measure
from records.models.ranges import UNIT_OF
from records.services.vineyards import block_of

CANOPIES_NOT_SAID: Final = (
    "Neither canopies nor a divided training is set on the block, so one canopy is reckoned with. Where the canopy is "
    "divided, set canopies: the figures for each metre of canopy are too large by that factor."
)
AT_RANDOM: Final = "The intervals hold for vines drawn at random; for vines picked by eye they mean nothing."


class MeanSizeOut(FigureOut):
    """The mean over the vines that have the figure, with its 95 % interval."""

    n = serializers.IntegerField(help_text="Vines that it is the mean of.")
    missing = serializers.IntegerField(help_text="Standing vines that lack it.")
    standard_deviation = serializers.FloatField(allow_null=True, help_text="Of the vines: divisor n − 1.")
    low = serializers.FloatField(allow_null=True, help_text="Lower end of the interval of the mean.")
    high = serializers.FloatField(allow_null=True, help_text="Upper end of the interval of the mean.")


class VineSizeOut(ComputedOut):
    """How large the vines of a block are."""

    block = serializers.UUIDField()
    season = serializers.IntegerField(
        allow_null=True, help_text="The dormant season; null: the block has no dormant record yet."
    )
    shoots_season = serializers.IntegerField(
        allow_null=True, help_text="The summer before, in which the wood grew: shoots and canes are of it."
    )
    vines = serializers.IntegerField(help_text="Places of the block.")
    standing = serializers.IntegerField(help_text="Vines that nobody found missing up to the season.")
    canopies = serializers.IntegerField(help_text="Curtains of leaves on a row.")
    pruning_weight_per_vine = MeanSizeOut()
    pruning_weight_per_canopy_metre = MeanSizeOut()
    pruning_weight_per_row_metre = MeanSizeOut()
    shoots_per_canopy_metre = MeanSizeOut()
    mean_cane_weight = MeanSizeOut()


def size_shown(size: Size, unit: str, standing: int, assigned: dict[str, Any] | None = None) -> dict[str, Any]:
    """Show one figure of the vines with its number, spread and interval."""
    told = size.estimate
    return {
        **figure(rounded(told.mean), unit, reason=size.reason, assigned=assigned),
        "n": told.n,
        "missing": max(0, standing - told.n),
        "standard_deviation": rounded(told.standard_deviation),
        "low": None if told.low is None else max(0.0, rounded(told.low) or 0.0),
        "high": rounded(told.high),
    }


def sizes_shown(sizes: BlockSizes, ranges: dict[Measure, dict[str, Any] | None]) -> dict[str, Any]:
    """Give the computed members of the answer."""
    inputs = [
        given("vine_spacing", sizes.row_length_m, "m"),
        given("canopies", sizes.canopies),
        given("vines_weighed", sizes.pruning_weight.estimate.n),
        given("shoots_season", sizes.shoots_season),
    ]
    more = [AT_RANDOM] if sizes.canopies_said else [CANOPIES_NOT_SAID, AT_RANDOM]
    return {
        **computed(METHOD, inputs, _steps(sizes), more=more),
        "season": sizes.season,
        "shoots_season": sizes.shoots_season,
        "vines": sizes.vines,
        "standing": sizes.standing,
        "canopies": sizes.canopies,
        "pruning_weight_per_vine": size_shown(sizes.pruning_weight, "kg", sizes.standing),
        **{
            measure.value: size_shown(size, UNIT_OF[measure], sizes.standing, ranges.get(measure))
            for measure, size in sizes.of_measure.items()
        },
    }


def _steps(sizes: BlockSizes) -> list[Working]:
    steps = []
    if sizes.row_length_m is not None:
        canopy = sizes.row_length_m * sizes.canopies
        steps.append(
            Working(
                "canopy length of a vine",
                "The vine spacing times the number of canopies on a row.",
                f"{written(sizes.row_length_m)} m × {sizes.canopies} = {written(canopy)} m",
                canopy,
                "m",
            )
        )
    steps.append(_step_of_mean("pruning weight of a vine", "kg", sizes.pruning_weight.estimate))
    steps += [_step_of_mean(m.label, UNIT_OF[m], size.estimate) for m, size in sizes.of_measure.items()]
    return [step for step in steps if step.value is not None]


def _step_of_mean(label: str, unit: str, told: MeanEstimate) -> Working:
    mean = rounded(told.mean)
    interval = "" if told.half_width is None else f" ± {written(told.half_width)}"
    sentence = f"The mean of {counted(told.n, 'vine')}{', with its 95 % interval' if interval else ''}."
    return Working(label, sentence, f"{written(mean or 0.0)}{interval} {unit}", mean, unit)


def _example() -> dict[str, Any]:
    def size(*values: float) -> Size:
        return Size(estimate_mean(values, 95, 12), None)

    sizes = BlockSizes(
        season=2027,
        shoots_season=2026,
        vines=12,
        standing=12,
        row_length_m=2.4384,
        canopies=1,
        canopies_said=True,
        pruning_weight=size(1.1, 1.3, 1.2),
        of_measure={
            Measure.PRUNING_WEIGHT_PER_CANOPY_METRE: size(0.451, 0.533, 0.492),
            Measure.PRUNING_WEIGHT_PER_ROW_METRE: size(0.451, 0.533, 0.492),
            Measure.SHOOTS_PER_CANOPY_METRE: size(16.4, 18.0),
            Measure.MEAN_CANE_WEIGHT: size(25.2, 27.1),
        },
    )
    return {"block": "01991b5e-0000-7000-8000-0000000b10c1", **sizes_shown(sizes, {})}


class VineSize(FarmView):
    """How large the vines of a block are."""

    serializer_class = VineSizeOut
    pagination_class = None

    @extend_schema(
        summary="Read how large the vines of a block are",
        description="Prunings of a vine, of a metre of canopy and of a metre of row, and, of the summer in which that "
        "wood grew, shoots for each metre of canopy and the mean weight of a cane: each as the mean over the vines "
        "that have it, with its 95 % interval. The canopy of a vine is its spacing times the canopies of the block. A "
        "verdict only where a range is assigned. At most 20,000 vines are answered at once.",
        parameters=[
            OpenApiParameter(
                "season", SEASON, description="The harvest year after that winter; without it, the newest recorded."
            )
        ],
        responses=VineSizeOut,
        tags=["crop load and vine size"],
        examples=[OpenApiExample("Three vines of twelve", value=_example(), response_only=True)],
    )
    def get(self, request: Request, farm: uuid.UUID, block: uuid.UUID) -> Response:  # noqa: ARG002
        query = StrictQuery.of(request, season=StrictIntegerField(min_value=1900, max_value=2100))
        found = block_of(self.opened, block)
        season = query.get("season") or newest_season(self.opened, found)
        sizes = sizes_of(self.opened, found, season)
        ranges = {measure: range_for(self.opened, found, measure) for measure in sizes.of_measure}
        shown = {measure: assigned.shown() if assigned else None for measure, assigned in ranges.items()}
        return Response({"block": found.pk, **sizes_shown(sizes, shown)})
