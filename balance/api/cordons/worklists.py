"""The work that cordons ask for in a winter or a summer: as JSON, as CSV, and as a page to print."""

from __future__ import annotations

import uuid
from typing import Any

from django.http import HttpResponseBase
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiExample, OpenApiParameter, extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from balance.api.cordons.worklist_page import page_of
from balance.api.cordons.worklist_rows import EXAMPLE, WorklistOut, as_csv, body_of
from balance.cordons.days import today_on
from balance.cordons.parts_of_year import months_of, part_of_year_of, season_ahead
from balance.cordons.worklist import ORDERS, WALKING, Wanted, worklist
from balance.formulas.cordons.reminders import PARTS_OF_YEAR, TASKS
from records.api.forms import (
    CSV,
    CsvRenderer,
    HtmlRenderer,
    InForms,
    attachment,
    form_asked,
    form_field,
    form_parameter,
    in_forms,
)
from records.api.forms import renderers as renderers_with
from records.api.parameters import ROW_NUMBER, SEASON
from records.api.strict import StrictIntegerField, StrictQuery, StrictUUIDField
from records.api.views import FarmView


class CordonWorklist(InForms, FarmView):
    """The worklist of a farm, a block or a row."""

    serializer_class = WorklistOut
    pagination_class = None
    renderer_classes = renderers_with(CsvRenderer, HtmlRenderer)

    @extend_schema(
        summary="Read the reminders and the work of a winter or summer",
        description="What the cases of replacement ask for as they stand now: look for a candidate, lay it down, "
        "unwrap it a winter later, look at its ties, keep fewer nodes on it, take the old arm off; `by_task` says "
        "what to do and who says so, `results` which vines it concerns. In walking order, what is longest overdue "
        "first, or task by task. No task on a vine that is missing, or replanted since the case was noticed. As JSON, "
        "as CSV, or as a page to print. At most 20,000 cases are answered for at once, and 5,000 tasks are printed; "
        "ask block by block, or row by row, beyond.",
        parameters=[
            form_parameter("csv", "html"),
            OpenApiParameter("season", SEASON, description="Harvest year; without it, the winter or summer ahead."),
            OpenApiParameter(
                "part_of_year", str, enum=list(PARTS_OF_YEAR), description="Without it, what it is on the farm now."
            ),
            OpenApiParameter("block", uuid.UUID, description="Only this block."),
            OpenApiParameter("row_number", ROW_NUMBER, description="Only this row."),
            OpenApiParameter("task", str, enum=list(TASKS), description="Only this kind of task."),
            OpenApiParameter("order", str, enum=list(ORDERS), description="walking unless said."),
        ],
        responses=in_forms(WorklistOut, csv=OpenApiTypes.STR, html=OpenApiTypes.STR),
        tags=["cordons"],
        examples=[
            OpenApiExample("A winter's work", value=EXAMPLE, response_only=True, media_type="application/json"),
        ],
    )
    def get(self, request: Request, farm: uuid.UUID) -> HttpResponseBase:  # noqa: ARG002
        asked: dict[str, Any] = {"as": form_field("csv", "html")}
        query = StrictQuery.of(
            request,
            season=StrictIntegerField(min_value=1900, max_value=2100),
            part_of_year=serializers.ChoiceField(choices=PARTS_OF_YEAR),
            block=StrictUUIDField(),
            row_number=StrictIntegerField(min_value=1, max_value=9999),
            task=serializers.ChoiceField(choices=TASKS),
            order=serializers.ChoiceField(choices=ORDERS),
            **asked,
        )
        wanted = self._wanted(query)
        listed = worklist(self.opened, wanted)
        form = form_asked(request)
        if form == CsvRenderer.format:
            return attachment(as_csv(listed.works), CSV, f"cordons-{wanted.season}-{wanted.part_of_year}.csv")
        if form == HtmlRenderer.format:
            return page_of(self.opened.farm, wanted, listed)
        head = {
            "season": wanted.season,
            "part_of_year": wanted.part_of_year,
            "months": months_of(self.opened.farm, wanted.season, wanted.part_of_year),
            "order": wanted.order,
        }
        return Response({**head, **body_of(listed, rows=wanted.block_id is not None)})

    def _wanted(self, query: dict[str, Any]) -> Wanted:
        farm = self.opened.farm
        today = today_on(farm)
        part = query.get("part_of_year") or part_of_year_of(farm, today)
        return Wanted(
            season=query.get("season") or season_ahead(farm, today, part),
            part_of_year=part,
            block_id=query.get("block"),
            row_number=query.get("row_number"),
            task=query.get("task"),
            order=query.get("order", WALKING),
        )
