"""Templates of files: for every kind of record, as CSV and as a spreadsheet."""

from __future__ import annotations

from django.http import HttpResponse
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiExample, OpenApiParameter, OpenApiResponse, extend_schema
from rest_framework.request import Request

from records.api.forms import CSV, XLSX, CsvRenderer, XlsxRenderer, attachment
from records.api.kind_examples import NEW
from records.api.strict import StrictQuery
from records.api.views import OpenView
from records.errors import NotFound
from records.files.templates import template_csv, template_xlsx
from records.kinds import KINDS, Kind

_KIND = OpenApiParameter("kind", str, OpenApiParameter.PATH, enum=[*KINDS], description="Kind of record.")
_SAYS = (
    "A line of headings, a line with the unit of each column, and one example. Lines that begin with `# units` or "
    "`# example` are no records: change the units to yours, put your own lines below, and send the file to `…/imports` "
    "with `kind`."
)


class CsvTemplate(OpenView):
    """A template as CSV."""

    renderer_classes = [CsvRenderer]

    @extend_schema(
        summary="Fetch a template as CSV",
        description=_SAYS,
        parameters=[_KIND],
        responses={
            (200, CSV): OpenApiResponse(
                OpenApiTypes.STR,
                description="The template.",
                examples=[
                    OpenApiExample("Its first words", value='"block","row","vine","observed_at"', media_type=CSV)
                ],
            )
        },
        tags=["imports"],
    )
    def get(self, request: Request, kind: str) -> HttpResponse:
        StrictQuery.of(request)
        found = _known(kind)
        return attachment(template_csv(found, NEW[found.name]), CSV, f"{found.path}.csv")


class XlsxTemplate(OpenView):
    """A template as a spreadsheet."""

    renderer_classes = [XlsxRenderer]

    @extend_schema(
        summary="Fetch a template as a spreadsheet",
        description=f"{_SAYS} A second sheet explains every column.",
        parameters=[_KIND],
        responses={
            (200, XLSX): OpenApiResponse(
                OpenApiTypes.BINARY,
                description="The template.",
                examples=[OpenApiExample("Its first bytes", value="PK\u0003\u0004", media_type=XLSX)],
            )
        },
        tags=["imports"],
    )
    def get(self, request: Request, kind: str) -> HttpResponse:
        StrictQuery.of(request)
        found = _known(kind)
        return attachment(template_xlsx(found, NEW[found.name]), XLSX, f"{found.path}.xlsx")


def _known(kind: str) -> Kind:
    if kind not in KINDS:
        raise NotFound(f"There is no kind of record {kind[:40]!r}; known are {', '.join(KINDS)}.")
    return KINDS[kind]
