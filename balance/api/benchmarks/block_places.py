"""Where a block lies among the growers of the programs that its farm takes part in."""

from __future__ import annotations

import uuid
from typing import Any, Final

from django.http.response import HttpResponseBase
from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework import serializers
from rest_framework.request import Request

from balance.api.benchmarks.told_figures import DIMENSIONS_SHOWN, ToldFigureOut, example, example_of, told_figure
from balance.api.figures import ComputedOut, FigureOut, computed, figure, given
from balance.api.summaries.answering import ETAG_SAID, answered, responses
from balance.benchmarks.placing import (
    NO_BAND,
    NOT_MEASURED,
    NOT_TAKING_PART,
    NOT_TOLD,
    Among,
    InProgram,
    places_of_block,
)
from balance.formulas.benchmarks.bands import BAND, BANDS
from records.api.parameters import SEASON
from records.api.strict import StrictIntegerField, StrictQuery
from records.api.views import FarmView
from records.services.vineyards import block_of


class BlockAmongOut(ToldFigureOut):
    """One measure of the block, and of the growers at one place."""

    own = FigureOut(help_text="Of the block, from the farm's own records.")
    band = serializers.ChoiceField(
        choices=BANDS, allow_null=True, help_text="Where the block lies; null: see band_reason. Never a rank."
    )
    band_reason = serializers.CharField(allow_null=True, help_text="Why there is no band.")


class BlockAtPlaceOut(serializers.Serializer[Any]):
    """The block among all growers, or among those of one group."""

    dimension = serializers.ChoiceField(choices=DIMENSIONS_SHOWN)
    label = serializers.CharField(help_text="The block's own group; empty for all.")  # type: ignore[assignment]
    measures = BlockAmongOut(many=True)


class BlockInProgramOut(serializers.Serializer[Any]):
    """The block in the benchmarks of one program."""

    program = serializers.UUIDField()
    name = serializers.CharField()
    taken_at = serializers.DateTimeField(allow_null=True, help_text="The moment of the snapshot; null: none was made.")
    places = BlockAtPlaceOut(many=True)


class BlockBenchmarkOut(ComputedOut):
    """Where a block lies among growers."""

    block = serializers.UUIDField()
    season = serializers.IntegerField(allow_null=True, help_text="Harvest year; null: none has a snapshot.")
    reason = serializers.CharField(allow_null=True, help_text="Why there is no program.")
    programs = BlockInProgramOut(many=True)


def _among(each: Among) -> dict[str, Any]:
    told, unit = told_figure(each.shown), each.shown.measure.unit
    reason = None
    if each.band is None:
        reason = NOT_MEASURED if each.own is None else NOT_TOLD if each.shown.mean is None else NO_BAND
    own = None if each.own is None else float(f"{each.own:.4g}")
    return {
        **told,
        "own": figure(own, unit, reason=NOT_MEASURED if own is None else None),
        "band": each.band,
        "band_reason": reason,
    }


def _in_program(found: InProgram) -> dict[str, Any]:
    return {
        "program": found.program.pk,
        "name": found.program.name,
        "taken_at": found.snapshot.taken_at if found.snapshot else None,
        "places": [
            {"dimension": at.dimension, "label": at.label, "measures": [_among(each) for each in at.measures]}
            for at in found.places
        ],
    }


_EXAMPLE: Final = {
    **computed(BAND, [given("season", 2026.0)], []),
    "block": "01991b5e-0000-7000-8000-00000000b10c",
    "season": 2026,
    "reason": None,
    "programs": [
        {
            "program": "01991b5e-0000-7000-8000-0000000009a1",
            "name": "Harrow Vale Growers (invented)",
            "taken_at": "2026-11-20T15:04:06Z",
            "places": [
                {
                    "dimension": "cultivar",
                    "label": "Concord",
                    "measures": [
                        {
                            **example_of("pruning_weight", 1.23, 0.31),
                            "own": figure(1.52, "kg"),
                            "band": "above",
                            "band_reason": None,
                        },
                        {
                            **example_of("crop_load", None, None),
                            "own": figure(9.4, "1"),
                            "band": None,
                            "band_reason": NOT_TOLD,
                        },
                    ],
                }
            ],
        }
    ],
}


class BlockBenchmark(FarmView):
    """Where a block lies among growers."""

    pagination_class = None
    serializer_class = BlockBenchmarkOut

    @extend_schema(
        summary="Read where a block lies among growers",
        description="For everybody who may read the farm, where its owner lets a program's benchmarks count it: the "
        "block's own figures of a season, and beside them mean and spread of the growers of the program who take part, "
        "of all, and of those of the same region, cultivar, training and shelter. A band says where the block lies. A "
        "figure is told only where five growers stand behind it besides whoever reads it; what is withheld and what "
        f"there is not look the same. {ETAG_SAID}",
        parameters=[
            OpenApiParameter("season", SEASON, description="Harvest year; without it, the newest that has a snapshot.")
        ],
        responses=responses(BlockBenchmarkOut),
        tags=["programs"],
        examples=[example("In one program, shortened", _EXAMPLE)],
    )
    def get(self, request: Request, farm: uuid.UUID, block: uuid.UUID) -> HttpResponseBase:  # noqa: ARG002
        query = StrictQuery.of(request, season=StrictIntegerField(min_value=1900, max_value=2100))
        season, found = places_of_block(self.opened, block_of(self.opened, block), query.get("season"))
        body = {
            **computed(BAND, [given("season", season)], []),
            "block": block,
            "season": season,
            "reason": None if found else NOT_TAKING_PART,
            "programs": [_in_program(each) for each in found],
        }
        return answered(request, BlockBenchmarkOut(body).data)
