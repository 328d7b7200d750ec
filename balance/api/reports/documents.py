"""What a season report says, as JSON with a schema: everything that its other forms show, and nothing else."""

from __future__ import annotations

import uuid
from typing import Any, Final

from django.http import HttpResponse
from drf_spectacular.utils import OpenApiExample, OpenApiResponse, extend_schema, extend_schema_field
from rest_framework import serializers
from rest_framework.request import Request

from balance.api.known_answers import not_changed
from balance.api.reports.document_example import DOCUMENT_EXAMPLE
from balance.formulas.ranges import ABOVE, BELOW, WITHIN
from balance.reports.asking import file_of, report_of
from balance.reports.document import CONFIDENCES, SCHEMA, STANDINGS
from balance.reports.models import Form, UnitSystem
from records.api.strict import StrictQuery
from records.api.views import FarmView

_MAY_BE_KEPT: Final = "private, no-cache"


class ReportFigureOut(serializers.Serializer[Any]):
    """One number with what it takes to defend it, or the reason why there is none."""

    code = serializers.CharField()
    title = serializers.CharField()
    value = serializers.FloatField(allow_null=True, help_text="Not rounded. Null: see reason.")
    unit = serializers.CharField(help_text="As it is printed; empty: a number without a unit.")
    digits = serializers.IntegerField(help_text="How many decimals are shown.")
    n = serializers.IntegerField(allow_null=True, help_text="Of how many it is made.")
    low = serializers.FloatField(allow_null=True, help_text="Lower end of the interval.")
    high = serializers.FloatField(allow_null=True, help_text="Upper end of the interval.")
    interval = serializers.CharField(help_text="What kind of interval it is; empty: none was computed.")
    range_low = serializers.FloatField(allow_null=True, help_text="Null: no lower limit, or no range.")
    range_high = serializers.FloatField(allow_null=True, help_text="Null: no upper limit, or no range.")
    range_source = serializers.CharField(help_text="Who assigned the range, and from where.")
    verdict = serializers.ChoiceField(
        choices=(BELOW, WITHIN, ABOVE), allow_blank=True, help_text="Empty: no value, or nobody assigned a range."
    )
    reason = serializers.CharField(help_text="Why there is no value.")


class ReportColumnOut(serializers.Serializer[Any]):
    """One column of a table."""

    code = serializers.CharField()
    title = serializers.CharField()
    unit = serializers.CharField()
    number = serializers.BooleanField(help_text="Its cells are numbers.")
    digits = serializers.IntegerField(help_text="How many decimals are shown.")


@extend_schema_field(
    {"type": "array", "items": {"type": "array", "items": {"type": ["string", "number", "null"]}}},
)
class RowsField(serializers.ListField):
    """The lines of a table, each with a cell for each column; null was not measured."""


class ReportTableOut(serializers.Serializer[Any]):
    """One table of a block."""

    code = serializers.CharField()
    title = serializers.CharField()
    columns = ReportColumnOut(many=True)
    rows = RowsField(help_text="A cell for each column; null: not measured or not said.")
    note = serializers.CharField(help_text="What else there is to know.")


@extend_schema_field({"type": "object", "additionalProperties": True})
class SpecificationField(serializers.DictField):
    """A Vega-Lite specification, whose schema is its own."""


class ReportChartOut(serializers.Serializer[Any]):
    """One chart, with the data it draws."""

    code = serializers.CharField()
    title = serializers.CharField()
    description = serializers.CharField(help_text="What it shows, for whoever cannot see it.")
    spec = SpecificationField(help_text="Vega-Lite 5; every renderer of it draws the chart.")


class ReportSectionOut(serializers.Serializer[Any]):
    """One section of a block's page."""

    code = serializers.CharField()
    title = serializers.CharField()
    sentences = serializers.ListField(child=serializers.CharField())
    figures = ReportFigureOut(many=True)
    tables = ReportTableOut(many=True)
    charts = ReportChartOut(many=True)
    reason = serializers.CharField(help_text="Why it is empty, where it is.")


class ReportSourceOut(serializers.Serializer[Any]):
    """One formula, range or method that the report rests on."""

    code = serializers.CharField()
    version = serializers.IntegerField()
    label = serializers.CharField()  # type: ignore[assignment]
    source = serializers.CharField()  # type: ignore[assignment]
    mark = serializers.CharField(help_text="How well the source is known.")
    used_for = serializers.CharField()


class ReportLineOut(serializers.Serializer[Any]):
    """Where a block stands, what changed, what to do next winter, and how sure that is."""

    block = serializers.UUIDField()
    name = serializers.CharField()
    cultivar = serializers.CharField()
    standing = serializers.ChoiceField(choices=STANDINGS, help_text="By crop load and counts, against what was set.")
    why = serializers.CharField()
    figures = ReportFigureOut(many=True)
    changed = serializers.ListField(child=serializers.CharField())
    next_winter = serializers.ListField(child=serializers.CharField())
    confidence = serializers.ChoiceField(choices=CONFIDENCES)
    confidence_why = serializers.CharField()


class ReportBlockOut(serializers.Serializer[Any]):
    """Everything about one block."""

    block = serializers.UUIDField()
    name = serializers.CharField()
    cultivar = serializers.CharField()
    rootstock = serializers.CharField()
    training = serializers.CharField()
    vines = serializers.IntegerField(help_text="Vines that stand.")
    sections = ReportSectionOut(many=True)


class ReportDocumentOut(serializers.Serializer[Any]):
    """The season report of one farm."""

    farm = serializers.UUIDField()
    farm_name = serializers.CharField()
    region = serializers.CharField()
    season = serializers.IntegerField(help_text="Harvest year.")
    units = serializers.ChoiceField(choices=UnitSystem.choices)
    taken_at = serializers.DateTimeField(help_text="The one point in time that everything in it stands for.")
    made_by = serializers.CharField(help_text="The service's version that made it.")
    summary = ReportLineOut(many=True)
    blocks = ReportBlockOut(many=True)
    sources = ReportSourceOut(many=True)
    cautions = serializers.ListField(child=serializers.CharField())
    schema = serializers.ChoiceField(choices=[SCHEMA], help_text="Which shape this is.")
    check_code = serializers.CharField(help_text="SHA-256 of all of it, with the check code itself left empty.")


class ReportDocument(FarmView):
    """What a report says."""

    @extend_schema(
        summary="Read what a season report says",
        description="The report as JSON: what every other form of it is rendered from. It never changes once it is "
        "made; the ETag is its check code, and If-None-Match with it is answered 304. 409 until it is made.",
        responses={200: ReportDocumentOut, 304: OpenApiResponse(description="It is the one that you have.")},
        tags=["reports"],
        examples=[OpenApiExample("Of one block", value=DOCUMENT_EXAMPLE, response_only=True, status_codes=["200"])],
    )
    def get(self, request: Request, farm: uuid.UUID, report: uuid.UUID) -> HttpResponse:  # noqa: ARG002
        StrictQuery.of(request)
        file = file_of(self.opened, report, Form.JSON)
        tag = f'"{report_of(self.opened, report).check_code}"'
        headers = {"ETag": tag, "Cache-Control": _MAY_BE_KEPT, "X-Content-Type-Options": "nosniff"}
        known = not_changed(request, headers)
        return known or HttpResponse(bytes(file.content), content_type="application/json", headers=headers)
