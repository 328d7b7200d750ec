"""How complete the records of a season are, block by block: of a farm, a block, or all the caller's farms."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, Final

from django.http.response import HttpResponseBase
from drf_spectacular.utils import OpenApiExample, extend_schema
from rest_framework import serializers
from rest_framework.request import Request

from balance.api.summaries.answering import ETAG_SAID, answered, responses
from balance.api.summaries.pages import PARAMETERS, page_of, paging_fields
from balance.api.summaries.parts import PLACE, example_head, head_of
from balance.api.summaries.parts_out import SHARE, SummaryCompleteOut, SummaryHeadOut, SummaryPlaceOut
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
from balance.summaries.comparison import BY_NAME, key_of
from balance.summaries.completeness import LACK_CODES, LACKS, lacking_counts, line_of
from balance.summaries.glance import complete_of
from balance.summaries.lines import Wanted, read_lines


class LackOut(serializers.Serializer[Any]):
    """One thing that lacks, and what cannot be told without it."""

    code = serializers.ChoiceField(choices=LACK_CODES)
    sentence = serializers.CharField()


class LackCountOut(LackOut):
    """One thing that lacks, and of how many blocks."""

    blocks = serializers.IntegerField()


class BlockCompleteOut(SummaryPlaceOut):
    """What is recorded of one block in the season, and what lacks."""

    season = serializers.IntegerField(allow_null=True)
    places = serializers.IntegerField()
    missing = serializers.IntegerField(help_text="Places without a vine.")
    standing_vines = serializers.IntegerField()
    young_vines = serializers.IntegerField()
    weighed = serializers.IntegerField()
    weighed_share = serializers.FloatField(allow_null=True, help_text=SHARE)
    counted = serializers.IntegerField()
    counted_share = serializers.FloatField(allow_null=True, help_text=SHARE)
    without_resolution = serializers.IntegerField(help_text="Weights without the scale's smallest step.")
    guessed = serializers.IntegerField(help_text="Records with the pruner's guess.")
    harvest_records = serializers.IntegerField()
    block_harvest = serializers.BooleanField(help_text="A harvest of the whole block is recorded.")
    sample_vines = serializers.IntegerField(help_text="Vines of the smallest picking that was sampled.")
    vines_picked = serializers.IntegerField(help_text="Vines with a yield of their own.")
    bud_samples = serializers.IntegerField()
    shoot_counts = serializers.IntegerField()
    cluster_counts = serializers.IntegerField()
    inspections = serializers.IntegerField()
    cordons = serializers.IntegerField(help_text="Cordons that were inspected.")
    lacks = LackOut(many=True)


class CompletenessOut(SummaryHeadOut):
    """How complete the records of a season are."""

    total = SummaryCompleteOut(help_text="Of all blocks that were asked about.")
    lacking = LackCountOut(many=True, help_text="What lacks, and of how many blocks.")
    count = serializers.IntegerField(help_text="Blocks in all.")
    results = BlockCompleteOut(many=True)
    next = serializers.CharField(allow_null=True, help_text="Address of the next page; null at the end.")


def _example(scope: str) -> dict[str, Any]:
    counts: dict[str, Any] = dict.fromkeys(map(str, SummaryCompleteOut().fields), 0)
    counts |= {"standing_vines": 236, "weighed": 30, "weighed_share": 12.711864, "blocks_weighed": 1}
    zeros: dict[str, Any] = dict.fromkeys(map(str, BlockCompleteOut().fields), 0)
    lack = {"code": "harvest", "sentence": LACKS["harvest"]}
    line = {
        **zeros,
        **PLACE,
        "season": 2027,
        "places": 240,
        "missing": 4,
        "standing_vines": 236,
        "weighed": 30,
        "weighed_share": 12.711864,
        "block_harvest": False,
        "lacks": [lack],
    }
    return {
        **example_head(scope),
        "total": counts,
        "lacking": [{**lack, "blocks": 1}],
        "count": 1,
        "results": [line],
        "next": None,
    }


def _told(kind: str) -> Callable[[Any], Any]:
    return extend_schema(
        summary=f"Read how complete the records of a season are, of {OF[kind]}",
        description="Block by block: how many of the standing vines were weighed and counted, which other records "
        f"there are, and what lacks with what cannot be told without it. {ETAG_SAID}",
        parameters=[SEASON_ASKED, UNITS, *PARAMETERS, *filters_of(kind)],
        responses=responses(CompletenessOut),
        tags=["summaries"],
        examples=[OpenApiExample("One block", value=_example(kind), response_only=True, status_codes=["200"])],
    )


def _answer(view: ScopedView, request: Request) -> HttpResponseBase:
    query = view.asked(request, season=season_field(), **paging_fields())
    wanted = Wanted(query.get("season"), back=0, ahead=0, with_work=False)
    read = read_lines(view.scope_of(request, query), wanted)
    listed = [line_of(line) for line in read.lines]
    page = page_of(request, listed, lambda line: key_of(line, BY_NAME), query)
    body = {
        **head_of(read, units_asked(query)),
        "total": complete_of(read.rows),
        "lacking": lacking_counts(listed),
        "count": page.count,
        "results": page.lines,
        "next": page.next,
    }
    return answered(request, body, page.headers)


VIEWS: Final = views_of(_told, _answer)
