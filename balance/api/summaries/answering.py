"""How summaries are answered: with an ETag of what they say, and 304 to whoever has it already."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Final

import orjson
from django.http.response import HttpResponseBase
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiExample
from rest_framework.request import Request
from rest_framework.response import Response

from balance.api.known_answers import NOT_CHANGED, marks_of, not_changed
from balance.api.reports.charts import as_picture
from balance.reports.document import Chart
from records.api.forms import SvgRenderer, VegaLiteRenderer, form_asked, in_forms

CHART_FORMS: Final = ("svg", "vega-lite")
ETAG_SAID: Final = (
    "The weak ETag is of what the answer says, without as_of: sent back as If-None-Match, it is answered 304 while "
    "nothing changed."
)


#: A chart in each of its forms.
CHART_EXAMPLES: Final = [
    OpenApiExample(
        "A chart, shortened",
        value={"$schema": "https://vega.github.io/schema/vega-lite/v5.json", "layer": []},
        response_only=True,
        media_type=VegaLiteRenderer.media_type,
    ),
    OpenApiExample(
        "A drawing",
        value='<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 560 290"/>',
        response_only=True,
        media_type=SvgRenderer.media_type,
    ),
]


def answered(request: Request, body: Mapping[str, Any], headers: Mapping[str, str] | None = None) -> HttpResponseBase:
    """Answer with a summary, or with 304 where the caller has it; ``as_of`` alone makes no other answer."""
    told = {name: value for name, value in body.items() if name != "as_of"}
    marks = marks_of(_written(told))
    return not_changed(request, marks) or Response(body, headers={**marks, **(headers or {})})


def chart_asked(request: Request) -> bool:
    """Tell whether the answer is to be a chart."""
    return form_asked(request) in {SvgRenderer.format, VegaLiteRenderer.format}


def drawn(request: Request, chart: Chart) -> HttpResponseBase:
    """Answer with a chart: as a drawing, or as the Vega-Lite specification that it is drawn from."""
    form = form_asked(request)
    marks = marks_of(_written({"form": form, "spec": chart.spec}))
    known = not_changed(request, marks)
    if known is not None:
        return known
    if form != SvgRenderer.format:
        return Response(chart.spec, headers=marks)
    picture = as_picture(chart.spec)
    for name, value in marks.items():
        picture[name] = value
    return picture


def responses(out: Any, *, charts: bool = False) -> dict[Any, Any]:
    """Give the responses of an operation that answers with a summary, and with charts of it where it has any."""
    forms = {"svg": OpenApiTypes.STR, "vega-lite": OpenApiTypes.OBJECT} if charts else {}
    return {**(in_forms(out, **forms) if charts else {200: out}), 304: NOT_CHANGED}


def _written(told: Mapping[str, Any]) -> bytes:
    return orjson.dumps(told, option=orjson.OPT_SORT_KEYS | orjson.OPT_NON_STR_KEYS)
