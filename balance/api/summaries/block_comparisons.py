"""Blocks beside each other: those of a farm, or of all farms that the caller may read."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, Final

from django.http.response import HttpResponseBase
from drf_spectacular.utils import OpenApiExample, OpenApiParameter, extend_schema
from rest_framework import serializers
from rest_framework.request import Request

from balance.api.figures import VERDICTS
from balance.api.summaries.answering import (
    CHART_EXAMPLES,
    CHART_FORMS,
    ETAG_SAID,
    answered,
    chart_asked,
    drawn,
    responses,
)
from balance.api.summaries.pages import PARAMETERS, page_of, paging_fields
from balance.api.summaries.parts import PLACE, example_head, head_of, says
from balance.api.summaries.parts_out import SHARE, SummaryHeadOut, SummaryPlaceOut, SummarySaysOut
from balance.api.summaries.scopes import (
    OF,
    SEASON_ASKED,
    UNITS,
    ScopedView,
    filters_of,
    season_field,
    units_asked,
)
from balance.api.summaries.season_summaries import METHODS
from balance.api.summaries.views import views_of
from balance.crops.block_crops import BASES
from balance.reports.document import STANDINGS
from balance.summaries.comparison import BY_NAME, ORDERS, comparison_chart, key_of, line_shown
from balance.summaries.lines import FARM, PORTFOLIO, Wanted, read_lines
from records.api.forms import form_field, form_parameter


class BlockLineOut(SummaryPlaceOut):
    """One block beside others."""

    season = serializers.IntegerField(allow_null=True)
    recorded = serializers.BooleanField(help_text="Anything is recorded of the season.")
    places = serializers.IntegerField(allow_null=True, help_text="Null: nothing is kept of the season.")
    standing_vines = serializers.IntegerField(allow_null=True)
    weighed = serializers.IntegerField()
    weighed_share = serializers.FloatField(allow_null=True, help_text=SHARE)
    mean_weight = serializers.FloatField(allow_null=True)
    standard_deviation = serializers.FloatField(allow_null=True)
    weight_unit = serializers.CharField(help_text="kg or lb.")
    judged = serializers.IntegerField(help_text="Vines with both a target and a count.")
    within = serializers.IntegerField()
    too_many = serializers.IntegerField()
    too_few = serializers.IntegerField()
    mean_difference = serializers.FloatField(allow_null=True, help_text="Mean of count less target [nodes].")
    crop_load = serializers.FloatField(allow_null=True, help_text="Of this harvest, else of the one before.")
    crop_load_season = serializers.IntegerField(allow_null=True)
    crop_load_basis = serializers.ChoiceField(choices=BASES, allow_null=True)
    crop_load_verdict = serializers.ChoiceField(
        choices=VERDICTS, allow_null=True, help_text="Null: no figure, or no range."
    )
    blank_share = serializers.FloatField(allow_null=True, help_text="By spur positions [%].")
    open_cases = serializers.IntegerField(help_text="Of replacement, now.")
    tasks_due = serializers.IntegerField(help_text="In the winter or summer that it is on the farm.")
    tasks_overdue = serializers.IntegerField()
    standing = serializers.ChoiceField(choices=STANDINGS)
    why = serializers.CharField(help_text="By what it stands there.")


class BlockComparisonOut(SummaryHeadOut, SummarySaysOut):
    """Blocks beside each other, a page of them."""

    order = serializers.ChoiceField(choices=ORDERS)
    count = serializers.IntegerField(help_text="Blocks in all.")
    results = BlockLineOut(many=True)
    next = serializers.CharField(allow_null=True, help_text="Address of the next page; null at the end.")


def _example(scope: str) -> dict[str, Any]:
    line = {
        **PLACE,
        "season": 2027,
        "recorded": True,
        "places": 240,
        "standing_vines": 236,
        "weighed": 30,
        "weighed_share": 12.711864,
        "mean_weight": 1.21,
        "standard_deviation": 0.34,
        "weight_unit": "kg",
        "judged": 28,
        "within": 20,
        "too_many": 6,
        "too_few": 2,
        "mean_difference": 1.7,
        "crop_load": 17.2,
        "crop_load_season": 2026,
        "crop_load_basis": "whole_block",
        "crop_load_verdict": "above",
        "blank_share": 24.0,
        "open_cases": 3,
        "tasks_due": 3,
        "tasks_overdue": 0,
        "standing": "over",
        "why": "By crop load: 17.2 in the harvest of 2026, above its range of 10 to 15.",
    }
    return {**example_head(scope), "order": BY_NAME, "count": 1, "results": [line], "next": None, **says(METHODS)}


def _told(kind: str) -> Callable[[Any], Any]:
    return extend_schema(
        summary=f"Compare the blocks of {OF[kind]}",
        description="A line a block, also of one without a record of the season. By name, by where they stand (over "
        "first), or by a figure: the largest first, of weighed_share the smallest; a block without the figure comes "
        "last. The chart shows the counts against targets of the first 40. "
        f"{ETAG_SAID}",
        parameters=[
            form_parameter(*CHART_FORMS),
            SEASON_ASKED,
            OpenApiParameter("order", str, enum=list(ORDERS), description=f"{BY_NAME} unless said."),
            UNITS,
            *PARAMETERS,
            *filters_of(kind),
        ],
        responses=responses(BlockComparisonOut, charts=True),
        tags=["summaries"],
        examples=[
            OpenApiExample("One block", value=_example(kind), response_only=True, media_type="application/json"),
            *CHART_EXAMPLES,
        ],
    )


def _answer(view: ScopedView, request: Request) -> HttpResponseBase:
    fields: dict[str, Any] = {"as": form_field(*CHART_FORMS), **paging_fields()}
    query = view.asked(request, season=season_field(), order=serializers.ChoiceField(choices=ORDERS), **fields)
    units, order = units_asked(query), query.get("order", BY_NAME)
    read = read_lines(view.scope_of(request, query), Wanted(query.get("season")))

    def key(line: dict[str, Any]) -> list[Any]:
        return key_of(line, order)

    listed = sorted((line_shown(line, units) for line in read.lines), key=key)
    if chart_asked(request):
        return drawn(request, comparison_chart(listed, read.season))
    page = page_of(request, listed, key, query)
    body = {
        **head_of(read, units),
        "order": order,
        "count": page.count,
        "results": page.lines,
        "next": page.next,
        **says(METHODS),
    }
    return answered(request, body, page.headers)


VIEWS: Final = views_of(_told, _answer, kinds=(FARM, PORTFOLIO), charts=True)
