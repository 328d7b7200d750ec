"""How the weights of a season are spread: of a farm, of a block, or of all farms that the caller may read."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, Final

from django.http.response import HttpResponseBase
from drf_spectacular.utils import OpenApiExample, extend_schema
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
from balance.api.summaries.parts_out import SummaryHeadOut, SummarySaysOut, SummaryWeightsOut
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
from balance.formulas.summaries import pooling
from balance.summaries.charts import distribution_chart
from balance.summaries.distributions import distribution_of
from balance.summaries.lines import Wanted, read_lines
from balance.summaries.rows import BIN_KG
from records.api.forms import form_field, form_parameter

_METHODS = (pooling.METHOD,)


class WeightBinOut(serializers.Serializer[Any]):
    """The vines whose weight lies in one bin."""

    from_ = serializers.FloatField(help_text="Its beginning, which belongs to it.")
    to = serializers.FloatField(allow_null=True, help_text="Its end, which does not; null: everything heavier.")
    n = serializers.IntegerField()

    def get_fields(self) -> dict[str, Any]:
        """Call the beginning by its name, which is a word of the language here."""
        return {name.rstrip("_"): field for name, field in super().get_fields().items()}


class WeightDistributionOut(SummaryHeadOut, SummarySaysOut):
    """How the weights of a season are spread."""

    blocks = serializers.IntegerField()
    blocks_weighed = serializers.IntegerField(help_text="Blocks of which any vine was weighed.")
    weights = SummaryWeightsOut()
    bin_width = serializers.FloatField(help_text="In the unit of the weights.")
    bins = WeightBinOut(many=True, help_text="From zero on, without a gap, up to the last one that holds any.")


def _example(scope: str) -> dict[str, Any]:
    weights = {
        "unit": "kg",
        "n": 3,
        "mean": 0.15,
        "standard_deviation": 0.05,
        "coefficient_of_variation": 33.333333,
        "least": 0.1,
        "most": 0.2,
        "quantiles": [{"share": 0.5, "value": 0.15, "low": 0.125, "high": 0.2}],
        "quantiles_are_exact": False,
        "quantiles_say": "From the added bins.",
        "reason": None,
    }
    return {
        **example_head(scope),
        "blocks": 2,
        "blocks_weighed": 2,
        "weights": weights,
        "bin_width": 0.125,
        "bins": [{"from": 0.0, "to": 0.125, "n": 1}, {"from": 0.125, "to": 0.25, "n": 2}],
        **says(_METHODS),
    }


def _told(kind: str) -> Callable[[Any], Any]:
    return extend_schema(
        summary=f"Read how the pruning weights of a season are spread, of {OF[kind]}",
        description=f"In bins of {BIN_KG:g} kg, which add up exactly over blocks. Quantiles are those of the weights "
        "themselves where one block was weighed; over several they come from the bins, each with the limits that it "
        "lies between for certain. As JSON, or drawn: as SVG, or as the Vega-Lite 5 specification of the same data. "
        f"{ETAG_SAID}",
        parameters=[form_parameter(*CHART_FORMS), SEASON_ASKED, UNITS, *filters_of(kind)],
        responses=responses(WeightDistributionOut, charts=True),
        tags=["summaries"],
        examples=[
            OpenApiExample("Three vines", value=_example(kind), response_only=True, media_type="application/json"),
            *CHART_EXAMPLES,
        ],
    )


def _answer(view: ScopedView, request: Request) -> HttpResponseBase:
    fields: dict[str, Any] = {"as": form_field(*CHART_FORMS)}
    query = view.asked(request, season=season_field(), **fields)
    units = units_asked(query)
    wanted = Wanted(query.get("season"), back=0, ahead=0, with_work=False)
    read = read_lines(view.scope_of(request, query), wanted)
    told = distribution_of(read, units.vine_weight)
    if chart_asked(request):
        return drawn(request, distribution_chart({**told, "season": read.season}, units.vine_weight))
    return answered(request, {**head_of(read, units), **told, **says(_METHODS)})


VIEWS: Final = views_of(_told, _answer, charts=True)
