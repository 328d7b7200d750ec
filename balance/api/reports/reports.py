"""Season reports of a farm: ask for one, see where it stands, fetch its files."""

from __future__ import annotations

import uuid
from collections.abc import Sequence
from typing import Any, Final

from django.db.models import QuerySet
from django.http import HttpResponse
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiExample, OpenApiParameter, OpenApiResponse, extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.reverse import reverse

from balance.models import ProgramReportFile, Report, ReportFile
from balance.reports.asking import UNFINISHED, ask_for_report, file_of, report_of, reports_of
from balance.reports.corrections import MOST_CHANGES, corrected_since, only_corrected, resting_on
from balance.reports.forms.as_html import POLICY
from balance.reports.models import Form, UnitSystem
from balance.reports.rendering import FORMS
from records.access import Right
from records.api.forms import HtmlRenderer, PdfRenderer, XlsxRenderer, ZipRenderer, renderers
from records.api.own_catalogue import FORMULA_NAMED
from records.api.parameters import SEASON
from records.api.preconditions import accepted, place_of
from records.api.strict import StrictBooleanField, StrictIntegerField, StrictQuery, StrictSerializer, StrictUUIDField
from records.api.views import FarmView
from records.errors import NotFound
from records.models import PruningFormula
from records.models.jobs import JobState
from records.services.own_catalogue import usable_by, version_named

_FILES: Final = (
    "http://localhost:8000/api/v1/farms/01991b5e-0000-7000-8000-00000000fa01/reports/"
    "01991b5e-0000-7000-8000-00000000e9a1/files"
)
REPORT_EXAMPLE: Final[dict[str, Any]] = {
    "id": "01991b5e-0000-7000-8000-00000000e9a1",
    "season": 2026,
    "units": "us",
    "scheduled": False,
    "job": "01991b5e-0000-7000-8000-00000000f0b1",
    "state": "succeeded",
    "asked_at": "2026-11-20T15:04:05Z",
    "taken_at": "2026-11-20T15:04:06Z",
    "check_code": "9f86d081884c7d659a2feaa0c55ad015a3bf4f1b2b0b822cd15d6c15b0f00a08",
    "made_by_version": "1.0.0",
    "corrected_since": 0,
    "files": {str(form): f"{_FILES}/{form}" for form in FORMS},
}
_QUEUED: Final = {
    **REPORT_EXAMPLE, "state": "queued", "taken_at": None, "check_code": "", "made_by_version": "",
    "corrected_since": None, "files": {},
}  # fmt: skip
#: Whoever may read a farm may ask for its report.
RIGHTS: Final = dict.fromkeys(("GET", "HEAD", "POST"), Right.READ)


class ReportIn(StrictSerializer):
    """A report to be made."""

    id = StrictUUIDField(required=False, help_text="Made by the client, so that sending again is safe.")
    season = StrictIntegerField(min_value=1900, max_value=2100, help_text="Harvest year.")
    units = serializers.ChoiceField(choices=UnitSystem.choices, help_text="Metric or US units, never mixed.")


class ReportOut(serializers.ModelSerializer[Report]):
    """One report: where its job stands, and its files once it is made."""

    job = serializers.UUIDField(source="job_id", help_text="The job that makes it.")
    state = serializers.ChoiceField(source="job.state", choices=JobState.choices, help_text="Of the job.")
    asked_at = serializers.DateTimeField(source="received_at")
    corrected_since = serializers.SerializerMethodField(
        help_text="How many records that it may have read were changed or withdrawn since; null until it is made."
    )
    files = serializers.SerializerMethodField(help_text="Where to fetch each form; empty until it is made.")

    class Meta:
        model = Report
        fields = [*REPORT_EXAMPLE]

    def get_corrected_since(self, report: Report) -> int | None:
        counted: int | None = self.context.get("corrected", {}).get(report.pk)  # a refusal shows it uncounted
        return counted

    def get_files(self, report: Report) -> dict[str, str]:
        if report.attempt is None:
            return {}
        ids = {"farm": report.farm_id, "report": report.pk}
        request = self.context.get("request")  # a refusal shows it without one
        return {form: str(reverse("report-file", kwargs={**ids, "form": form}, request=request)) for form in FORMS}


class ReportView(FarmView):
    """A view that shows reports of a farm, each with what was corrected since."""

    serializer_class = ReportOut

    def shown(self, reports: Sequence[Report]) -> list[dict[str, Any]]:
        context = {**self.get_serializer_context(), "corrected": corrected_since(self.opened, reports)}
        told: list[dict[str, Any]] = [ReportOut(report, context=context).data for report in reports]
        return told


class Reports(ReportView):
    """The reports of a farm."""

    rights = RIGHTS
    keyset = ("-received_at", "-id")

    def get_queryset(self) -> QuerySet[Report]:
        return reports_of(self.opened)

    @extend_schema(
        summary="List season reports",
        description="The newest first. corrected_since counts the records that a report may have read (received by "
        "its moment, of any season up to the one after its own) and that were changed or withdrawn after it, each "
        f"once, as far as the newest {MOST_CHANGES:,} changes of the farm's records tell: where it is not 0, have the "
        "report made anew. What was recorded later is no correction.",
        parameters=[
            OpenApiParameter("season", SEASON, description="Only of this harvest year."),
            OpenApiParameter(
                "corrected", bool, description="Only those with a record corrected since, or only made ones without."
            ),
        ],
        responses=ReportOut(many=True),
        tags=["reports"],
        examples=[OpenApiExample("A report", value=REPORT_EXAMPLE, response_only=True)],
    )
    def get(self, request: Request, farm: uuid.UUID) -> Response:  # noqa: ARG002
        season = StrictIntegerField(min_value=1900, max_value=2100)
        query = StrictQuery.of(request, paged=True, season=season, corrected=StrictBooleanField())
        corrected = query.pop("corrected", None)
        found = self.get_queryset().filter(**query)
        if corrected is not None:
            found = only_corrected(self.opened, found, corrected=corrected)
        return self.get_paginated_response(self.shown(self.paginate_queryset(found) or []))

    @extend_schema(
        summary="Ask for a season report",
        description="A worker makes it from the records as they are at one point in time; follow the job, then fetch "
        "the files. While one of the same season and units is being made, asking again gives the same; with an id of "
        "the client's own, sending it again is safe for ever.",
        request=ReportIn,
        responses={202: ReportOut},
        tags=["reports"],
        examples=[
            OpenApiExample("For the past season", value={"season": 2026, "units": "us"}, request_only=True),
            OpenApiExample("Asked for", value=_QUEUED, response_only=True, status_codes=["202"]),
        ],
    )
    def post(self, request: Request, farm: uuid.UUID) -> Response:
        StrictQuery.of(request)
        sent = ReportIn(data=request.data)
        sent.is_valid(raise_exception=True)
        told = sent.validated_data
        report = ask_for_report(self.opened, told.get("id"), told["season"], told["units"]).row
        return accepted(self.shown([report])[0], place_of(request, "report", farm=farm, report=report.pk))


class OneReport(ReportView):
    """One report."""

    @extend_schema(
        summary="Read a season report",
        description="Where it stands; while it is unfinished, Retry-After says when it is worth asking again.",
        responses=ReportOut,
        tags=["reports"],
        examples=[OpenApiExample("A report", value=REPORT_EXAMPLE, response_only=True)],
    )
    def get(self, request: Request, farm: uuid.UUID, report: uuid.UUID) -> Response:  # noqa: ARG002
        StrictQuery.of(request)
        found = report_of(self.opened, report)
        headers = {"Retry-After": "1"} if found.job.state in UNFINISHED else {}
        return Response(self.shown([found])[0], headers=headers)


class ToldReports(ReportView):
    """The reports of a farm that rest on one version of a formula."""

    keyset = ("-received_at", "-id")

    def get_queryset(self) -> QuerySet[Report]:
        return reports_of(self.opened)

    @extend_schema(
        summary="Recall a formula: the reports that rest on it",
        description="Every season report of this farm that rests on one version of a formula, the newest first: for "
        "when a formula turns out to be wrong. Those that are at fault are made anew by asking for them again.",
        parameters=[FORMULA_NAMED],
        responses=ReportOut(many=True),
        tags=["reports"],
        examples=[OpenApiExample("A report", value=REPORT_EXAMPLE, response_only=True)],
    )
    def get(self, request: Request, farm: uuid.UUID, formula: str) -> Response:  # noqa: ARG002
        StrictQuery.of(request, paged=True)
        named = version_named(usable_by(PruningFormula, self.opened.farm), formula)
        page = self.paginate_queryset(resting_on(self.opened, self.get_queryset(), named))
        return self.get_paginated_response(self.shown(page or []))


#: The answers of whatever gives a file of a report, for the OpenAPI document.
FILES_OF_A_REPORT: Final = {
    (200, rendered.media_type): OpenApiResponse(
        OpenApiTypes.OBJECT if form == Form.JSON else OpenApiTypes.BINARY,
        description=f"The report as {Form(form).label}.",
        examples=[
            OpenApiExample(
                "Its beginning",
                value={"season": 2026, "units": "us"} if form == Form.JSON else rendered.begins,
                media_type=rendered.media_type,
            )
        ],
    )
    for form, rendered in FORMS.items()
}


def file_answer(file: ReportFile | ProgramReportFile) -> HttpResponse:
    """Give a file of a report to whoever asked and to nothing on the way; it runs nothing and asks nobody anything."""
    rendered = FORMS[file.form]
    return HttpResponse(
        bytes(file.content),
        content_type=rendered.media_type,
        headers={
            "Content-Disposition": f'attachment; filename="report-{file.report_id}.{rendered.suffix}"',
            "Cache-Control": "private, no-store",
            "X-Content-Type-Options": "nosniff",
            "Content-Security-Policy": POLICY,
            "Referrer-Policy": "no-referrer",
        },
    )


#: The address says which form it is; Accept may name it too.
RENDERERS_OF_FILES: Final = renderers(HtmlRenderer, PdfRenderer, ZipRenderer, XlsxRenderer)


class ReportFileView(FarmView):
    """One file of a report."""

    renderer_classes = RENDERERS_OF_FILES

    @extend_schema(
        summary="Fetch a file of a season report",
        description="One form of the report, as an attachment that no cache keeps. The page (html) runs no script and "
        "loads nothing, saved or shown. 409 until it is made.",
        parameters=[OpenApiParameter("form", str, OpenApiParameter.PATH, enum=list(FORMS), description="Which form.")],
        responses=FILES_OF_A_REPORT,
        tags=["reports"],
    )
    def get(self, request: Request, farm: uuid.UUID, report: uuid.UUID, form: str) -> HttpResponse:  # noqa: ARG002
        StrictQuery.of(request)
        if form not in FORMS:
            raise NotFound
        return file_answer(file_of(self.opened, report, form))
