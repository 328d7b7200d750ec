"""The main figures season by season: of a farm, of a block, or of all farms that the caller may read."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, Final

from django.http.response import HttpResponseBase
from drf_spectacular.utils import OpenApiExample, OpenApiParameter, extend_schema
from rest_framework import serializers
from rest_framework.request import Request

from balance.api.summaries.answering import (
    CHART_EXAMPLES,
    CHART_FORMS,
    ETAG_SAID,
    answered,
    chart_asked,
    drawn,
    responses,
)
from balance.api.summaries.parts import example_head, head_of, says
from balance.api.summaries.parts_out import (
    SHARE,
    SummaryHeadOut,
    SummaryLoadOut,
    SummarySaysOut,
    SummaryVerdictsOut,
)
from balance.api.summaries.scopes import (
    OF,
    UNITS,
    ScopedView,
    filters_of,
    season_field,
    units_asked,
)
from balance.api.summaries.season_summaries import METHODS
from balance.api.summaries.views import views_of
from balance.summaries.charts import CROP_LOAD, FIGURES, MEAN_WEIGHT, OF_ONE_BLOCK, trend_chart
from balance.summaries.lines import BLOCK
from balance.summaries.trends import MOST_SEASONS, USUAL_SEASONS, read_trend, trend_of
from records.api.forms import (
    form_field,
    form_parameter,
)
from records.api.parameters import SEASON
from records.errors import NotValid


class TrendWeightsOut(serializers.Serializer[Any]):
    """The pruning weights of one winter."""

    unit = serializers.CharField(help_text="kg or lb, as reports write it.")
    n = serializers.IntegerField(help_text="Vines that were weighed.")
    mean = serializers.FloatField(allow_null=True)
    standard_deviation = serializers.FloatField(allow_null=True, help_text="Of single vines.")
    low = serializers.FloatField(allow_null=True, help_text="Lower end of the mean's 95 % interval, of one block.")
    high = serializers.FloatField(allow_null=True, help_text="Upper end; null: more blocks than one, or one weight.")
    reason = serializers.CharField(allow_null=True)


class TrendSeasonOut(serializers.Serializer[Any]):
    """One season; a season without a record is a gap, never left out."""

    season = serializers.IntegerField()
    blocks_recorded = serializers.IntegerField()
    standing_vines = serializers.IntegerField(help_text="Of the blocks recorded.")
    weights = TrendWeightsOut()
    weighed_share = serializers.FloatField(allow_null=True, help_text=SHARE)
    counted_share = serializers.FloatField(allow_null=True, help_text=SHARE)
    blocks_with_harvest = serializers.IntegerField()
    targets = serializers.IntegerField(help_text="Vines with a target.")
    judged = serializers.IntegerField(help_text="Vines with both a target and a count.")
    within = serializers.IntegerField()
    too_many = serializers.IntegerField()
    too_few = serializers.IntegerField()
    mean_difference = serializers.FloatField(allow_null=True, help_text="Mean of count less target [nodes].")
    mean_target = serializers.FloatField(allow_null=True, help_text="[nodes]")
    crop_load = SummaryLoadOut(allow_null=True, help_text="Null: more blocks than one.")
    crop_loads = SummaryVerdictsOut(help_text="Blocks by the verdict on the crop load of this very harvest.")
    cordons = serializers.IntegerField(help_text="Inspected cordons that say their blank and living positions.")
    blank_share = serializers.FloatField(allow_null=True, help_text=SHARE)


class SeasonTrendOut(SummaryHeadOut, SummarySaysOut):
    """The main figures season by season."""

    seasons = TrendSeasonOut(many=True)


def _example(scope: str) -> dict[str, Any]:
    season = {
        "season": 2027,
        "blocks_recorded": 2,
        "standing_vines": 474,
        "weights": {
            "unit": "kg", "n": 60, "mean": 1.21, "standard_deviation": 0.36, "low": None, "high": None, "reason": None,
        },
        "weighed_share": 12.658228,
        "counted_share": 11.603376,
        "blocks_with_harvest": 1,
        "targets": 58,
        "judged": 54,
        "within": 40,
        "too_many": 11,
        "too_few": 3,
        "mean_difference": 1.9,
        "mean_target": 46.7,
        "crop_load": None,
        "crop_loads": {"known": 1, "below": 0, "within": 0, "above": 1, "without_range": 0, "not_known": 1},
        "cordons": 40,
        "blank_share": 24.0,
    }  # fmt: skip
    return {**example_head(scope), "seasons": [season], **says(METHODS)}


def _told(kind: str) -> Callable[[Any], Any]:
    return extend_schema(
        summary=f"Read the main figures season by season, of {OF[kind]}",
        description=f"Of the {USUAL_SEASONS} seasons that end with the newest on record unless others are asked for; "
        f"{MOST_SEASONS} at once. As JSON, or one figure drawn: as SVG, or as the Vega-Lite 5 specification of the "
        f"same data. {ETAG_SAID}",
        parameters=[
            form_parameter(*CHART_FORMS),
            OpenApiParameter("first", SEASON, description="First season."),
            OpenApiParameter("last", SEASON, description="Last season; without it, the newest on record."),
            OpenApiParameter(
                "figure", str, enum=list(FIGURES), description=f"What a chart shows; {MEAN_WEIGHT} unless said."
            ),
            UNITS,
            *filters_of(kind),
        ],
        responses=responses(SeasonTrendOut, charts=True),
        tags=["summaries"],
        examples=[
            OpenApiExample("One season", value=_example(kind), response_only=True, media_type="application/json"),
            *CHART_EXAMPLES,
        ],
    )


def _answer(view: ScopedView, request: Request) -> HttpResponseBase:
    fields: dict[str, Any] = {"as": form_field(*CHART_FORMS)}
    query = view.asked(
        request, first=season_field(), last=season_field(), figure=serializers.ChoiceField(choices=FIGURES), **fields
    )
    units, figure = units_asked(query), query.get("figure", MEAN_WEIGHT)
    if figure == CROP_LOAD and view.kind != BLOCK:
        raise NotValid.at("figure", code="of_one_block", detail=OF_ONE_BLOCK)
    read, seasons = read_trend(view.scope_of(request, query), query.get("first"), query.get("last"))
    told = trend_of(read, seasons, units)
    if chart_asked(request):
        return drawn(request, trend_chart(told, figure, units))
    return answered(request, {**head_of(read, units), "seasons": told, **says(METHODS)})


VIEWS: Final = views_of(_told, _answer, charts=True)
