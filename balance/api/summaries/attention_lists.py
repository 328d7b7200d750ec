"""What needs a look now, and why: on a farm, on a block, or on all farms that the caller may read."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, Final

from django.http.response import HttpResponseBase
from drf_spectacular.utils import OpenApiExample, OpenApiParameter, extend_schema
from rest_framework import serializers
from rest_framework.request import Request

from balance.advice import CAUTIONS
from balance.api.summaries.answering import ETAG_SAID, answered, responses
from balance.api.summaries.pages import PARAMETERS, page_of, paging_fields
from balance.api.summaries.parts import BLOCK_ID, FARM_ID, PLACE, example_head, head_of
from balance.api.summaries.parts_out import SummaryHeadOut, SummaryPlaceOut
from balance.api.summaries.scopes import (
    OF,
    UNITS,
    ScopedView,
    filters_of,
    season_field,
    units_asked,
)
from balance.api.summaries.views import views_of
from balance.summaries.attention import URGENCIES, Limits
from balance.summaries.attention_list import CODES, counts_of, key_of, notice_shown, notices_of, read_for_attention
from records.api.parameters import SEASON
from records.api.strict import StrictIntegerField

_PERCENT: Final = {"type": "integer", "minimum": 0, "maximum": 100}
_USUAL: Final = Limits()
_LIMITS: Final = [
    OpenApiParameter(
        "off_target_share",
        _PERCENT,
        description=f"Counts off target beyond this share of those judged [%]; {_USUAL.off_target_share:g} unless "
        "said: common practice, no source.",
    ),
    OpenApiParameter(
        "error",
        {"type": "integer", "minimum": 1, "maximum": 50},
        description="A sample whose mean is less certain than this, half the 95 % interval [% of the mean]; "
        f"{_USUAL.error:g} unless said: common practice, no source.",
    ),
    OpenApiParameter(
        "edge_share",
        _PERCENT,
        description="A crop load that moved towards an end of its range and is nearer to it than this share of the "
        f"range [%]; {_USUAL.edge_share:g} unless said: common practice, no source.",
    ),
]


class NoticeFigureOut(serializers.Serializer[Any]):
    """One number that a notice rests on."""

    name = serializers.CharField()
    value = serializers.FloatField(allow_null=True)
    unit = serializers.CharField()


class NoticeOut(SummaryPlaceOut):
    """One thing that needs a look."""

    code = serializers.ChoiceField(choices=CODES)
    urgency = serializers.ChoiceField(
        choices=URGENCIES,
        help_text="now: it can be mended in this part of the year and not after; later: nothing is lost if it waits.",
    )
    season = serializers.IntegerField()
    figures = NoticeFigureOut(many=True)
    sentence = serializers.CharField()
    todo = serializers.CharField(help_text="What to do.")
    link = serializers.CharField(help_text="Path of the address that shows more.")


class NoticesByUrgencyOut(serializers.Serializer[Any]):
    """How many notices of one urgency there are."""

    urgency = serializers.ChoiceField(choices=URGENCIES)
    count = serializers.IntegerField()


class NoticesByCodeOut(serializers.Serializer[Any]):
    """How many notices of one code there are."""

    code = serializers.ChoiceField(choices=CODES)
    count = serializers.IntegerField()


class AttentionOut(SummaryHeadOut):
    """What needs a look now, a page of it."""

    count = serializers.IntegerField(help_text="Notices in all.")
    by_urgency = NoticesByUrgencyOut(many=True)
    by_code = NoticesByCodeOut(many=True)
    results = NoticeOut(many=True)
    next = serializers.CharField(allow_null=True, help_text="Address of the next page; null at the end.")
    cautions = serializers.ListField(child=serializers.CharField())


def _example(scope: str) -> dict[str, Any]:
    notice = {
        **PLACE,
        "code": "counts_off_target",
        "urgency": "now",
        "season": 2027,
        "figures": [{"name": "off_target_share", "value": 28.571429, "unit": "%"}],
        "sentence": "Off target: 6 of 28 counts above it and 2 below, on average 1.7 nodes above it.",
        "todo": "Look at the vines with the pruners; what was left too long can still be shortened.",
        "link": f"/api/v1/farms/{FARM_ID}/blocks/{BLOCK_ID}/targets?season=2027",
    }
    return {
        **example_head(scope, season=None),
        "count": 1,
        "by_urgency": [{"urgency": "now", "count": 1}],
        "by_code": [{"code": "counts_off_target", "count": 1}],
        "results": [notice],
        "next": None,
        "cautions": list(CAUTIONS),
    }


def _told(kind: str) -> Callable[[Any], Any]:
    return extend_schema(
        summary=f"Read what needs a look now, of {OF[kind]}",
        description="Weights missing before the cut, counts off target, a crop load that left its range or comes near "
        "its end, cordons due, and doubtful records: each with its figures, why, what to do, and where more is shown. "
        "The most urgent first. Without a season each farm is asked about its own: the one that is on there by its own "
        "date, or a newer one of which anything is recorded. A crop load is looked at only where a range is assigned. "
        f"{ETAG_SAID}",
        parameters=[
            OpenApiParameter("season", SEASON, description="Harvest year; without it, each farm's own."),
            OpenApiParameter("code", str, enum=list(CODES), description="Only notices of this code."),
            *_LIMITS,
            UNITS,
            *PARAMETERS,
            *filters_of(kind),
        ],
        responses=responses(AttentionOut),
        tags=["summaries"],
        examples=[OpenApiExample("One notice", value=_example(kind), response_only=True, status_codes=["200"])],
    )


def _answer(view: ScopedView, request: Request) -> HttpResponseBase:
    query = view.asked(
        request,
        season=season_field(),
        code=serializers.ChoiceField(choices=CODES),
        off_target_share=StrictIntegerField(min_value=0, max_value=100),
        error=StrictIntegerField(min_value=1, max_value=50),
        edge_share=StrictIntegerField(min_value=0, max_value=100),
        **paging_fields(),
    )
    units = units_asked(query)
    names = ("off_target_share", "error", "edge_share")
    limits = Limits(**{name: query[name] for name in names if name in query})
    read = read_for_attention(view.scope_of(request, query), query.get("season"))
    found = notices_of(read, limits, units)
    listed = [notice for notice in found if query.get("code") in {None, notice.code}]
    page = page_of(request, listed, key_of, query)
    body = {
        **head_of(read, units),
        "count": page.count,
        **counts_of(listed),
        "results": [notice_shown(notice) for notice in page.lines],
        "next": page.next,
        "cautions": list(CAUTIONS),
    }
    return answered(request, body, page.headers)


VIEWS: Final = views_of(_told, _answer)
