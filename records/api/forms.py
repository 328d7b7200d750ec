"""The forms that an answer may take beside JSON: asked for by ``Accept``, or by ``as=`` where a link is shorter.

Where both are sent, ``as=`` decides: it is what a person sees in the address.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, ClassVar, cast

from django.http import HttpResponse
from drf_spectacular.utils import OpenApiParameter
from rest_framework import serializers
from rest_framework.renderers import BaseRenderer
from rest_framework.request import Request
from rest_framework.settings import api_settings

GEOJSON = "application/geo+json"
CSV = "text/csv"
XLSX = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"
SVG = "image/svg+xml"
HTML = "text/html"
VEGA_LITE = "application/vnd.vegalite.v5+json"
MEDIA = {"geojson": GEOJSON, "csv": CSV, "xlsx": XLSX, "svg": SVG, "html": HTML, "vega-lite": VEGA_LITE}


class GeoJsonRenderer(BaseRenderer):
    """JSON under the media type of GeoJSON (RFC 7946 §12)."""

    media_type = GEOJSON
    format = "geojson"
    charset = None

    def render(
        self,
        data: Any,
        accepted_media_type: str | None = None,
        renderer_context: Mapping[str, Any] | None = None,
    ) -> Any:
        return renderers()[0]().render(data, accepted_media_type, renderer_context)


class VegaLiteRenderer(GeoJsonRenderer):
    """JSON under the media type of Vega-Lite 5: a chart with its data."""

    media_type = VEGA_LITE
    format = "vega-lite"


class FileRenderer(BaseRenderer):
    """Lets a client say that it accepts a kind of file; the file itself is written past it (see ``attachment``)."""

    charset = None
    render_style = "binary"

    def render(
        self,
        data: Any,
        accepted_media_type: str | None = None,  # noqa: ARG002
        renderer_context: Mapping[str, Any] | None = None,  # noqa: ARG002
    ) -> Any:
        return data


class CsvRenderer(FileRenderer):
    """CSV (RFC 4180)."""

    media_type = CSV
    format = "csv"


class XlsxRenderer(FileRenderer):
    """A spreadsheet."""

    media_type = XLSX
    format = "xlsx"


class ZipRenderer(FileRenderer):
    """Several files in one."""

    media_type = "application/zip"
    format = "zip"


class PdfRenderer(FileRenderer):
    """A document to print."""

    media_type = "application/pdf"
    format = "pdf"


class SvgRenderer(FileRenderer):
    """A drawing."""

    media_type = SVG
    format = "svg"


class HtmlRenderer(FileRenderer):
    """A page for a person."""

    media_type = HTML
    format = "html"


class InForms:
    """A view whose answers take more forms than one; ``renderer_classes`` lists them, JSON first.

    They are forms of what is read, unless a view says so of another method; what a POST has made is told as JSON.
    """

    forms_of: ClassVar[frozenset[str]] = frozenset({"GET", "HEAD"})

    def get_renderers(self) -> list[BaseRenderer]:
        found: list[BaseRenderer] = super().get_renderers()  # type: ignore[misc]
        return found if self.request.method in self.forms_of else found[:1]  # type: ignore[attr-defined]

    def perform_content_negotiation(self, request: Request, force: bool = False) -> Any:
        """Let ``as=`` choose among the renderers; a word that names none is refused with the rest of the query."""
        word = request.query_params.get("as", "")
        for renderer in self.get_renderers():
            if renderer.format == word:
                return renderer, renderer.media_type
        return super().perform_content_negotiation(request, force)  # type: ignore[misc]


def form_asked(request: Request) -> str:
    """Give the word of the form that the answer takes."""
    return str(request.accepted_renderer.format)


def renderers(*more: type[BaseRenderer]) -> list[type[BaseRenderer]]:
    """Give the renderers of a view: the usual ones, JSON first, and more."""
    return [*cast(list[type[BaseRenderer]], api_settings.DEFAULT_RENDERER_CLASSES), *more]


def in_forms(as_json: Any, **others: Any) -> dict[Any, Any]:
    """Give the responses of an operation by media type: as JSON, and each other form by its word.

    The schema's generator takes the response with the least key for the operation's own, and with it whether it is a
    list; a status as text comes before one as a number.
    """
    return {("200", "application/json"): as_json} | {(200, MEDIA[word]): schema for word, schema in others.items()}


def form_field(*words: str) -> serializers.ChoiceField:
    """Give the field of a query that says the form."""
    return serializers.ChoiceField(choices=["json", *words])


def form_parameter(*words: str) -> OpenApiParameter:
    """Give the parameter of a query that says the form."""
    return OpenApiParameter(
        "as", str, enum=["json", *words], description="Form of the answer; Accept may say it instead."
    )


def attachment(content: str | bytes, media: str, name: str) -> HttpResponse:
    """Answer with a file that is saved, not shown, taken for nothing else and kept by no cache."""
    return HttpResponse(
        content,
        content_type=media,
        headers={
            "Content-Disposition": f'attachment; filename="{name}"',
            "X-Content-Type-Options": "nosniff",
            "Cache-Control": "private, no-store",
        },
    )
