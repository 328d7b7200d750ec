"""A season at a glance: of a farm, of a block, or of all farms that the caller may read."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, Final

from django.http.response import HttpResponseBase
from drf_spectacular.utils import OpenApiExample, extend_schema
from rest_framework import serializers
from rest_framework.request import Request

from balance.api.summaries.answering import ETAG_SAID, answered, responses
from balance.api.summaries.parts import example_head, head_of, says
from balance.api.summaries.parts_out import (
    SummaryCompleteOut,
    SummaryCordonsOut,
    SummaryCountsOut,
    SummaryHeadOut,
    SummaryLoadsOut,
    SummarySaysOut,
    SummaryStandingsOut,
    SummaryVerdictsOut,
    SummaryWeightsOut,
)
from balance.api.summaries.scopes import (
    OF,
    SEASON_ASKED,
    UNITS,
    ScopedView,
    filters_of,
    season_field,
    units_asked,
)
from balance.api.summaries.views import views_of
from balance.formulas.cordons import blank_share
from balance.formulas.crops import crop_load
from balance.formulas.summaries import pooling
from balance.reports.document import STANDINGS
from balance.summaries.glance import glance_of
from balance.summaries.lines import Wanted, read_lines

METHODS: Final = (pooling.METHOD, crop_load.METHOD, blank_share.METHOD)


class SeasonSummaryOut(SummaryHeadOut, SummarySaysOut):
    """A season at a glance."""

    farms = serializers.IntegerField(help_text="Farms with a block that was asked about.")
    blocks = serializers.IntegerField()
    blocks_recorded = serializers.IntegerField(help_text="Blocks of which anything is recorded in the season.")
    places = serializers.IntegerField(help_text="Places for vines, of the blocks recorded.")
    missing_vines = serializers.IntegerField(help_text="Places without a vine.")
    standing_vines = serializers.IntegerField()
    young_vines = serializers.IntegerField(help_text="Planted in the season or the two before it.")
    weights = SummaryWeightsOut()
    counts = SummaryCountsOut()
    standing = serializers.ChoiceField(
        choices=STANDINGS, allow_null=True, help_text="Where the block stands; null: more blocks than one."
    )
    why = serializers.CharField(allow_null=True, help_text="By what it stands there.")
    standings = SummaryStandingsOut(help_text="Blocks by where they stand.")
    crop_load = SummaryLoadsOut(allow_null=True, help_text="Null: a crop load belongs to one block.")
    crop_loads = SummaryVerdictsOut(
        help_text="Blocks by the verdict on the crop load of this harvest, else of the one before."
    )
    cordons = SummaryCordonsOut()
    completeness = SummaryCompleteOut()


def _blank(cordons: int, blank: float, living: float, unit: str, share: float) -> dict[str, Any]:
    return {"cordons": cordons, "blank": blank, "living": living, "unit": unit, "blank_share": share, "reason": None}


def _example(scope: str) -> dict[str, Any]:
    return {
        **example_head(scope),
        "farms": 1,
        "blocks": 2,
        "blocks_recorded": 2,
        "places": 480,
        "missing_vines": 6,
        "standing_vines": 474,
        "young_vines": 12,
        "weights": {
            "unit": "kg",
            "n": 60,
            "mean": 1.21,
            "standard_deviation": 0.36,
            "coefficient_of_variation": 29.752066,
            "least": 0.4,
            "most": 2.3,
            "quantiles": [{"share": 0.5, "value": 1.19, "low": 1.125, "high": 1.25}],
            "quantiles_are_exact": False,
            "quantiles_say": "From the added bins.",
            "reason": None,
        },
        "counts": {
            "targets": 58,
            "mean_target": 46.7,
            "below_formula_range": 2,
            "above_formula_range": 0,
            "in_training": 0,
            "without_formula": 0,
            "counted": 55,
            "judged": 54,
            "within": 40,
            "too_many": 11,
            "too_few": 3,
            "mean_difference": 1.9,
            "mean_tolerance": 3.0,
            "reason": None,
        },
        "standing": None,
        "why": None,
        "standings": {"over": 1, "under": 0, "in_balance": 1, "not_known": 0},
        "crop_load": None,
        "crop_loads": {"known": 1, "below": 0, "within": 0, "above": 1, "without_range": 0, "not_known": 1},
        "cordons": {
            "inspections": 40,
            "inspected": 40,
            "positions": _blank(40, 96, 304, "", 24.0),
            "length": _blank(12, 3.2, 9.1, "m", 26.01626),
            "open_cases": 3,
            "cases": [{"step": "laid_down", "count": 3}],
            "tasks_due": 3,
            "tasks_overdue": 0,
            "tasks": [{"task": "unwrap", "name": "Unwrap", "due": 3, "overdue": 0}],
        },
        "completeness": {
            "standing_vines": 474,
            "weighed": 60,
            "weighed_share": 12.658228,
            "counted": 55,
            "counted_share": 11.603376,
            "blocks_weighed": 2,
            "blocks_counted": 2,
            "blocks_with_harvest": 1,
            "blocks_inspected": 2,
        },
        **says(METHODS),
    }


def _told(kind: str) -> Callable[[Any], Any]:
    return extend_schema(
        summary=f"Read a season at a glance, of {OF[kind]}",
        description="How many vines stand, what they weigh, how counts lie against targets, crop loads with their "
        "verdicts, cordons, and how complete the records are. Number, mean and standard deviation of the weights are "
        "exact over any number of blocks. Where a block stands is said as its season report says it; a crop load "
        f"belongs to one block and is told there. {ETAG_SAID}",
        parameters=[SEASON_ASKED, UNITS, *filters_of(kind)],
        responses=responses(SeasonSummaryOut),
        tags=["summaries"],
        examples=[OpenApiExample("Two blocks", value=_example(kind), response_only=True, status_codes=["200"])],
    )


def _answer(view: ScopedView, request: Request) -> HttpResponseBase:
    query = view.asked(request, season=season_field())
    units = units_asked(query)
    read = read_lines(view.scope_of(request, query), Wanted(query.get("season")))
    return answered(request, {**head_of(read, units), **glance_of(read, units), **says(METHODS)})


VIEWS: Final = views_of(_told, _answer)
