"""A season of a program at a glance, for its leads: from snapshots, and of one place of the fixed hierarchy."""

from __future__ import annotations

import uuid
from typing import Any, Final

from django.http.response import HttpResponseBase
from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework import serializers
from rest_framework.request import Request

from balance.api.benchmarks.told_figures import DIMENSIONS_SHOWN, ToldFigureOut, example, example_of, told_figure
from balance.api.figures import ComputedOut, computed, given
from balance.api.leading import LeadsView
from balance.api.summaries.answering import ETAG_SAID, answered, responses
from balance.benchmarks.measures import MEASURES, SHELTER
from balance.benchmarks.models import BenchmarkSnapshot
from balance.benchmarks.reading import Shown, label_at, newest, seasons_told, shown_at
from balance.formulas.privacy.rules import RELEASE
from balance.reports.programs.labels import ALL, CULTIVAR, TRAINING
from records.api.parameters import SEASON, text_of
from records.api.strict import StrictCharField, StrictIntegerField, StrictQuery
from records.errors import NotValid
from records.models import Cultivar
from records.models.vineyards import Shelter, Training

#: Seasons of a trend, the one asked for and those before it.
MOST_SEASONS: Final = 10
_WORDS: Final = {TRAINING: dict(Training.choices), SHELTER: dict(Shelter.choices)}


class ProgramTrendOut(serializers.Serializer[Any]):
    """One season of the trend."""

    season = serializers.IntegerField()
    measures = ToldFigureOut(many=True)


class ProgramSeasonOut(ComputedOut):
    """A season of a program at a glance."""

    program = serializers.UUIDField()
    season = serializers.IntegerField(allow_null=True, help_text="Harvest year; null: no season has a snapshot.")
    dimension = serializers.ChoiceField(choices=DIMENSIONS_SHOWN, help_text="What was asked about: all, or one group.")
    label = serializers.CharField(help_text="Which group; empty for all growers.")  # type: ignore[assignment]
    benchmark = serializers.UUIDField(allow_null=True, help_text="The snapshot it is from; null: none was made.")
    taken_at = serializers.DateTimeField(allow_null=True, help_text="The moment that the snapshot stands for.")
    growers = serializers.CharField(help_text="Growers that were counted in the whole program, as a band.")
    measures = ToldFigureOut(many=True)
    trend = ProgramTrendOut(many=True, help_text="Seasons that have a snapshot, up to this one, the oldest first.")


_MEASURES: Final = [
    example_of("pruning_weight", 1.23, 0.31),
    example_of("kept", 48.2, 9.6),
    example_of("crop_load", None, None),
]
_EXAMPLE: Final = {
    **computed(RELEASE, [given("season", 2026.0)], []),
    "program": "01991b5e-0000-7000-8000-0000000009a1",
    "season": 2026,
    "dimension": "cultivar",
    "label": "Concord",
    "benchmark": "01991b5e-0000-7000-8000-00000000be01",
    "taken_at": "2026-11-20T15:04:06Z",
    "growers": "20+",
    "measures": _MEASURES,
    "trend": [{"season": 2026, "measures": _MEASURES}],
}


class ProgramSeason(LeadsView):
    """A season of a program at a glance."""

    pagination_class = None
    serializer_class = ProgramSeasonOut

    @extend_schema(
        summary="Read a program's season at a glance",
        description="For its leads: what the growers together came to, from the newest snapshot of the season "
        "(benchmarks), and the trend over the snapshots of earlier seasons. Of all growers, or of one region, "
        "cultivar, training or shelter: one at a time, because further divisions would tell of single growers. What is "
        f"withheld and what there is not look the same. {ETAG_SAID}",
        parameters=[
            OpenApiParameter("season", SEASON, description="Harvest year; without it, the newest that has a snapshot."),
            OpenApiParameter("region", text_of(120), description="Of the farms of this region."),
            OpenApiParameter("cultivar", text_of(120), description="Of blocks of this cultivar, by its code or name."),
            OpenApiParameter("training", str, enum=Training.values, description="Of blocks trained so."),
            OpenApiParameter("shelter", str, enum=Shelter.values, description="In the open field, or in tunnels."),
        ],
        responses=responses(ProgramSeasonOut),
        tags=["programs"],
        examples=[example("Of one cultivar", _EXAMPLE)],
    )
    def get(self, request: Request, program: uuid.UUID) -> HttpResponseBase:
        query = StrictQuery.of(
            request,
            season=StrictIntegerField(min_value=1900, max_value=2100),
            region=StrictCharField(max_length=120),
            cultivar=StrictCharField(max_length=120),
            training=serializers.ChoiceField(choices=Training.values),
            shelter=serializers.ChoiceField(choices=Shelter.values),
        )
        asked = query.pop("season", None)
        dimension, label = _place_asked(query)
        seasons = seasons_told(program, asked, MOST_SEASONS)
        season = asked if asked is not None else seasons[-1] if seasons else None
        made = newest(program, seasons)
        told = {each: _shown(made[each], dimension, label) for each in seasons}
        this = made.get(season) if season is not None else None
        body = {
            **computed(RELEASE, [given("season", season)], []),
            "program": program,
            "season": season,
            "dimension": dimension,
            "label": label,
            "benchmark": this.pk if this else None,
            "taken_at": this.taken_at if this else None,
            "growers": this.growers if this else "",
            "measures": told[this.season] if this else [told_figure(Shown(measure)) for measure in MEASURES],
            "trend": [{"season": each, "measures": told[each]} for each in seasons],
        }
        return answered(request, ProgramSeasonOut(body).data)


def _place_asked(query: dict[str, str]) -> tuple[str, str]:
    """Give the one place that was asked about, in the words of the snapshots."""
    if len(query) > 1:
        first, second = list(query)[:2]
        raise NotValid.at(
            second,
            code="one_filter",
            detail=f"Growers are told apart by one thing at a time: {first} or {second}, not both. Leave one out.",
        )
    for dimension, asked in query.items():
        if dimension == CULTIVAR:
            known = Cultivar.objects.filter(pk=asked).values_list("name", flat=True).first()
            return dimension, known or asked
        return dimension, str(_WORDS[dimension][asked]) if dimension in _WORDS else asked
    return ALL, ""


def _shown(snapshot: BenchmarkSnapshot, dimension: str, label: str) -> list[dict[str, Any]]:
    written = label_at(snapshot, dimension, label)
    if written is None:
        return [told_figure(Shown(measure)) for measure in MEASURES]
    return [told_figure(each) for each in shown_at([snapshot], [(dimension, written)])[snapshot.pk, dimension, written]]
