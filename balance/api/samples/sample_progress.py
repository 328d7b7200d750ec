"""What the weights of a sample say of the block, and whether more vines are needed."""

from __future__ import annotations

import uuid
from decimal import Decimal
from typing import Any, Final

from django.utils import timezone
from drf_spectacular.utils import OpenApiExample, OpenApiParameter, extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from balance.api.figures import ComputedOut, FigureOut, computed, figure, given
from balance.api.samples.sample_answers import source_of
from balance.api.samples.sample_plans import WANTED_PARAMETERS, wanted_fields
from balance.api.samples.sample_sizes import VINE
from balance.api.statistics import UNITS
from balance.blocks import newest_season
from balance.formulas.samples.sample_estimate import (
    AT_RANDOM,
    FEW,
    METHOD,
    NO_MEAN,
    ROUGH,
    MeanEstimate,
    estimate_mean,
    progress_of,
)
from balance.formulas.samples.sample_size import FEWEST_FOR_A_SPREAD
from balance.formulas.samples.sample_steps import estimate_steps, progress_step
from balance.samples.sampling import Spread, Wanted, frame_of, season_ahead, spread_of
from records.api.parameters import SEASON
from records.api.strict import StrictIntegerField, StrictQuery
from records.api.views import FarmView
from records.services.vineyards import block_of
from records.units import from_canonical

NOBODY_WEIGHED: Final = "No vine of the block was weighed in this season."


class SampleProgressOut(ComputedOut):
    """The mean of a block as its sample tells it, and what is still to weigh."""

    block = serializers.UUIDField()
    season = serializers.IntegerField()
    weighed = serializers.IntegerField(help_text="Vines that were weighed.")
    population = serializers.IntegerField(help_text="Vines that the mean is about: standing, or weighed in the season.")
    mean = FigureOut()
    standard_deviation = FigureOut(help_text="Of the sample: divisor n − 1.")
    coefficient_of_variation = FigureOut()
    low = FigureOut(help_text="The interval's lower end.")
    high = FigureOut(help_text="The interval's upper end.")
    achieved_error = FigureOut(help_text="Half the interval [% of the mean].")
    enough = serializers.BooleanField(allow_null=True, help_text="The interval is as narrow as wanted.")
    vines_needed = FigureOut(help_text="Vines to weigh in all.")
    vines_more = FigureOut(help_text="Vines still to weigh.")


def shown(estimate: MeanEstimate, wanted: Wanted, planned: Spread, unit: str) -> dict[str, Any]:
    """Give the computed members of the answer in the unit asked for; ``planned`` answers below two weights."""
    scale = float(from_canonical(Decimal(1), unit))
    spread = planned if estimate.variation is None else Spread(estimate.variation)
    progress = progress_of(estimate, wanted.error, wanted.confidence, planned.variation)
    inputs = [
        given("error", wanted.error, "%"),
        given("confidence", wanted.confidence, "%"),
        given("vines_weighed", estimate.n, VINE),
        given("vines_in_the_block", estimate.population, VINE),
    ]
    steps = estimate_steps(estimate, wanted.confidence, unit, scale)
    steps += progress_step(progress, spread.variation, wanted.error)
    return {
        **computed(METHOD, inputs, steps, more=_cautions(estimate, planned)),
        "weighed": estimate.n,
        "population": estimate.population,
        **_figures(estimate, unit, scale),
        "enough": progress.enough,
        "vines_needed": figure(progress.needed, VINE, reason=progress.reason),
        "vines_more": figure(progress.more, VINE, reason=progress.reason),
    }


def _figures(estimate: MeanEstimate, unit: str, scale: float) -> dict[str, Any]:
    few = FEW if estimate.n else NOBODY_WEIGHED
    weights = {
        "mean": estimate.mean,
        "standard_deviation": estimate.standard_deviation,
        "low": estimate.low,
        "high": estimate.high,
    }
    shares = {"coefficient_of_variation": estimate.variation, "achieved_error": estimate.error}
    no_share = NO_MEAN if estimate.mean == 0 else few
    return {
        **{name: figure(None, unit, reason=few) if each is None else figure(each * scale, unit)
           for name, each in weights.items()},
        **{name: figure(each, "%", reason=no_share if each is None else None) for name, each in shares.items()},
    }  # fmt: skip


def _cautions(estimate: MeanEstimate, planned: Spread) -> tuple[str, ...]:
    if estimate.n < 2:
        return (f"Fewer than two weights: the vines needed rest on another spread. {source_of(planned)}", AT_RANDOM)
    return (AT_RANDOM, ROUGH) if estimate.n < FEWEST_FOR_A_SPREAD else (AT_RANDOM,)


def _example() -> dict[str, Any]:
    estimate = estimate_mean([1.0, 1.2, 0.8, 1.5, 1.1, 0.7, 1.3, 0.9], 95, 352)
    return {
        "block": "01991b5e-0000-7000-8000-0000000b10c1",
        "season": 2027,
        **shown(estimate, Wanted(10, 95), Spread(35.0), "kg"),
    }


class SampleProgress(FarmView):
    """How far the weighing of a sample has come."""

    serializer_class = SampleProgressOut
    pagination_class = None

    @extend_schema(
        summary="Read what the weights of a sample say of the block",
        description="Mean, interval by Student's t with the finite correction, the error reached, and whether more "
        "vines are needed for the error wanted. All vines weighed in the season count as the sample. With fewer than "
        "two weights the vines needed come from the block's newest earlier season with at least 10, or from the "
        "default.",
        parameters=[
            *WANTED_PARAMETERS,
            OpenApiParameter(
                "season",
                SEASON,
                description="Harvest year; without it, the newest that was recorded, else this winter's.",
            ),
            OpenApiParameter("unit", str, enum=UNITS, description="Unit of the weights; kg unless said."),
        ],
        responses=SampleProgressOut,
        tags=["sampling"],
        examples=[OpenApiExample("Eight vines of 352", value=_example(), response_only=True)],
    )
    def get(self, request: Request, farm: uuid.UUID, block: uuid.UUID) -> Response:  # noqa: ARG002
        query = StrictQuery.of(
            request,
            **wanted_fields(),
            season=StrictIntegerField(min_value=1900, max_value=2100),
            unit=serializers.ChoiceField(choices=UNITS),
        )
        found = block_of(self.opened, block)
        wanted = Wanted(query.get("error", 10), query.get("confidence", 95))
        season = query.get("season") or newest_season(self.opened, found)
        season = season or season_ahead(self.opened.farm, timezone.now())
        frame = frame_of(self.opened, found, season)
        estimate = estimate_mean(frame.walked.weights_kg, wanted.confidence, frame.population)
        told = shown(estimate, wanted, spread_of(self.opened, found, season), query.get("unit", "kg"))
        return Response({"block": found.pk, "season": season, **told})
