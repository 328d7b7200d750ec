"""The charts of a report, each by itself: as SVG, or as the specification that it is drawn from."""

from __future__ import annotations

import uuid
from typing import Any, Final

from django.http import HttpResponse
from django.http.response import HttpResponseBase
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiExample, OpenApiParameter, extend_schema
from rest_framework.request import Request
from rest_framework.response import Response

from balance.reports.asking import chart_of
from balance.reports.charts import svg_of
from records.api.forms import SVG, InForms, SvgRenderer, form_asked, form_field, form_parameter, in_forms, renderers
from records.api.strict import StrictQuery
from records.api.views import FarmView

_CODE: Final = {"type": "string", "pattern": "^[a-z0-9_]{1,60}$"}
_EXAMPLE: Final[dict[str, Any]] = {
    "$schema": "https://vega.github.io/schema/vega-lite/v5.json",
    "description": "Histogram. Pruning weight of a vine (kg). n = 24 vines.",
    "width": 470,
    "height": 150,
    "layer": [],
}


class ReportChart(InForms, FarmView):
    """One chart of a report."""

    renderer_classes = renderers(SvgRenderer)

    @extend_schema(
        summary="Show a chart of a season report",
        description="The chart that stands in the report's PDF and page: as a Vega-Lite 5 specification with its data, "
        "or drawn with `as=svg`. Block and chart have the names that they have in the report's JSON. 409 until the "
        "report is made.",
        parameters=[
            OpenApiParameter("chart", _CODE, OpenApiParameter.PATH, description="Code of the chart."),
            form_parameter("svg"),
        ],
        responses=in_forms(OpenApiTypes.OBJECT, svg=OpenApiTypes.STR),
        tags=["reports"],
        examples=[
            OpenApiExample("A histogram, shortened", value=_EXAMPLE, response_only=True, media_type="application/json"),
            OpenApiExample(
                "A drawing",
                value='<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 560 290"/>',
                response_only=True,
                media_type=SVG,
            ),
        ],
    )
    def get(
        self,
        request: Request,
        farm: uuid.UUID,  # noqa: ARG002
        report: uuid.UUID,
        block: uuid.UUID,
        chart: str,
    ) -> HttpResponseBase:
        StrictQuery.of(request, paged=False, **{"as": form_field("svg")})
        spec = chart_of(self.opened, report, block, chart)
        if form_asked(request) == SvgRenderer.format:
            return as_picture(spec)
        return Response(spec)


def as_picture(spec: dict[str, Any]) -> HttpResponse:
    """Give a chart to be looked at: a picture that loads nothing, runs nothing and is taken for nothing else."""
    return HttpResponse(
        svg_of(spec),
        content_type=SVG,
        headers={
            "Content-Disposition": 'inline; filename="chart.svg"',
            "Cache-Control": "private, no-store",
            "X-Content-Type-Options": "nosniff",
            "Content-Security-Policy": "sandbox; default-src 'none'; style-src 'unsafe-inline'",
        },
    )
