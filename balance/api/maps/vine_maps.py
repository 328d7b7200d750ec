"""A block as a map of its vines: the figures by columns, or a drawing of the same."""

from __future__ import annotations

import uuid
from typing import Any, Final

import numpy as np
import orjson
from django.http import HttpResponse
from django.http.response import HttpResponseBase
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiExample, OpenApiParameter, extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from balance.advice import CAUTIONS
from balance.api.known_answers import NOT_CHANGED, marks_of, not_changed
from balance.api.maps.vine_map_columns import EXAMPLE_COLUMNS, VineColumnsOut, columns_of
from balance.drawings.vine_map import ACROSS, ROWS_RUN, vine_map_svg
from balance.reports.models import UnitSystem
from balance.vine_maps.classes import UNITS, Classified, classified
from balance.vine_maps.reading import SHOWS, WEIGHT, VineMap, vine_map_of
from records.api.forms import SVG, InForms, SvgRenderer, form_asked, form_field, form_parameter, in_forms, renderers
from records.api.parameters import ROW_NUMBER, SEASON
from records.api.strict import StrictIntegerField, StrictQuery
from records.api.views import FarmView
from records.errors import NotValid
from records.models import Block
from records.services.vineyards import block_of

LAST_ROW: Final = 9999
#: A drawing runs nothing and loads nothing, opened by itself too.
_POLICY: Final = "default-src 'none'; frame-ancestors 'none'"


class MapRowOut(serializers.Serializer[Any]):
    """One row of the map."""

    row_number = serializers.IntegerField()
    places = serializers.IntegerField(help_text="Places for vines.")
    first_place = serializers.IntegerField()
    last_place = serializers.IntegerField()


class MapClassOut(serializers.Serializer[Any]):
    """One class of what the map shows."""

    code = serializers.CharField()
    label = serializers.CharField(help_text="What the legend says.")  # type: ignore[assignment]
    vines = serializers.IntegerField()


class VineMapOut(serializers.Serializer[Any]):
    """The map of a block."""

    block = serializers.UUIDField()
    block_name = serializers.CharField()
    season = serializers.IntegerField(allow_null=True, help_text="Null: nothing of the kind is on record yet.")
    show = serializers.ChoiceField(choices=SHOWS)
    units = serializers.ChoiceField(choices=UnitSystem.choices, help_text="Those of the classes of weight.")
    count = serializers.IntegerField(help_text="Places; each is one position of every column.")
    missing = serializers.IntegerField(help_text="Places without a vine.")
    young = serializers.IntegerField(help_text="Vines planted in the season or the two before it.")
    with_open_case = serializers.IntegerField(help_text="Vines with a cordon under replacement as it stands now.")
    rows = MapRowOut(many=True)
    classes = MapClassOut(many=True, help_text="What the drawing tells apart; `columns.class` gives positions here.")
    columns = VineColumnsOut()
    cautions = serializers.ListField(child=serializers.CharField())


_EXAMPLE: Final = {
    "block": "01991b5e-0000-7000-8000-0000000b10c1",
    "block_name": "Lower Terrace (invented)",
    "season": 2027,
    "show": "count",
    "units": "metric",
    "count": 2,
    "missing": 1,
    "young": 0,
    "with_open_case": 1,
    "rows": [{"row_number": 3, "places": 2, "first_place": 7, "last_place": 8}],
    "classes": [
        {"code": "too_few", "label": "too few nodes left", "vines": 1},
        {"code": "missing", "label": "no vine", "vines": 1},
    ],
    "columns": EXAMPLE_COLUMNS,
    "cautions": list(CAUTIONS),
}


class VineMaps(InForms, FarmView):
    """The map of a block's vines."""

    serializer_class = VineMapOut
    pagination_class = None
    renderer_classes = renderers(SvgRenderer)

    @extend_schema(
        summary="Read a block as a map of its vines",
        description="Every place by row, with the vine's weight, target, count and verdict, what its newest cordon "
        "inspections of the season say, its replacement under way as it stands now, and whether the vine is missing "
        "or young: as columns of one length, in walking order. `show` says which classes are formed: fifths of the "
        "weights, verdicts on the counts, or how much of the cordons is blank, in quarters that are steps of the "
        "drawing and no verdict. With `as=svg` the same is drawn: a mark for every vine, told apart by shape, size or "
        "filling beside shade; up to 5,000 vines each mark has words of its own. At most 20,000 vines are answered at "
        "once; a larger block is asked for by rows. The weak ETag is of what the answer says: sent back as "
        "If-None-Match, it is answered 304 while nothing changed.",
        parameters=[
            form_parameter("svg"),
            OpenApiParameter(
                "season",
                SEASON,
                description="Harvest year; without it, the newest with a weighing, or with an inspection where "
                "cordons are shown.",
            ),
            OpenApiParameter("show", str, enum=list(SHOWS), description="weight unless said."),
            OpenApiParameter("units", str, enum=list(UNITS), description="metric unless said."),
            OpenApiParameter("from_row", ROW_NUMBER, description="First row; without it, the block's first."),
            OpenApiParameter("to_row", ROW_NUMBER, description="Last row; without it, the block's last."),
            OpenApiParameter(
                "rows_run",
                str,
                enum=list(ROWS_RUN),
                description="In the drawing: across unless said; down is narrow enough for a phone.",
            ),
        ],
        responses={**in_forms(VineMapOut, svg=OpenApiTypes.STR), 304: NOT_CHANGED},
        tags=["blocks and vines"],
        examples=[
            OpenApiExample(
                "A vine and an empty place", value=_EXAMPLE, response_only=True, media_type="application/json"
            ),
            OpenApiExample(
                "A drawing",
                value='<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 700 300"/>',
                response_only=True,
                media_type=SVG,
            ),
        ],
    )
    def get(self, request: Request, farm: uuid.UUID, block: uuid.UUID) -> HttpResponseBase:  # noqa: ARG002
        asked: dict[str, Any] = {"as": form_field("svg")}
        query = StrictQuery.of(
            request,
            season=StrictIntegerField(min_value=1900, max_value=2100),
            show=serializers.ChoiceField(choices=SHOWS),
            units=serializers.ChoiceField(choices=list(UNITS)),
            from_row=StrictIntegerField(min_value=1, max_value=LAST_ROW),
            to_row=StrictIntegerField(min_value=1, max_value=LAST_ROW),
            rows_run=serializers.ChoiceField(choices=ROWS_RUN),
            **asked,
        )
        show, units = query.get("show", WEIGHT), query.get("units", "metric")
        found = block_of(self.opened, block)
        told = vine_map_of(self.opened, found, query.get("season"), show, rows_asked(query))
        groups = classified(told, show, units)
        if form_asked(request) == SvgRenderer.format:
            return _drawing(request, vine_map_svg(groups, found.name, query.get("rows_run", ACROSS)))
        written = as_json(found, groups)
        marks = marks_of(written)
        return not_changed(request, marks) or Response(written, headers=marks)


def rows_asked(query: dict[str, Any]) -> range | None:
    """Give the rows that are asked for; None: all.

    Raises
    ------
    NotValid
        The first lies after the last.
    """
    first, last = query.get("from_row"), query.get("to_row")
    if first is None and last is None:
        return None
    first, last = first or 1, last or LAST_ROW
    if first > last:
        raise NotValid.at(
            "from_row", code="out_of_range", detail=f"The first row, {first}, lies after the last, {last}."
        )
    return range(first, last + 1)


def _drawing(request: Request, svg: str) -> HttpResponse:
    """Answer with a drawing that is shown, not saved."""
    marks = marks_of(svg.encode())
    policy = {"Content-Security-Policy": _POLICY, "X-Content-Type-Options": "nosniff"}
    return not_changed(request, marks) or HttpResponse(svg, content_type=SVG, headers={**marks, **policy})


def as_json(block: Block, groups: Classified) -> bytes:
    """Write the answer; its columns are written as columns."""
    told = groups.told
    head = {
        "block": block.pk,
        "block_name": block.name,
        "season": told.season,
        "show": groups.show,
        "units": groups.units,
        "count": len(told),
        "missing": int(np.count_nonzero(told.plants == "missing")),
        "young": groups.young,
        "with_open_case": int(np.count_nonzero(~np.isnan(told.open_cases))),
        "rows": _rows(told),
        "classes": [{"code": each.code, "label": each.label, "vines": each.vines} for each in groups.classes],
        "columns": columns_of(groups),
        "cautions": CAUTIONS,
    }
    return orjson.dumps(head)


def _rows(told: VineMap) -> list[dict[str, int]]:
    """Give each row with its places, which stand in walking order."""
    numbers, firsts, counts = np.unique(told.vines.row_numbers, return_index=True, return_counts=True)
    places = told.vines.places
    return [
        {
            "row_number": int(number),
            "places": int(count),
            "first_place": int(places[first]),
            "last_place": int(places[first + count - 1]),
        }
        for number, first, count in zip(numbers, firsts, counts, strict=True)
    ]
