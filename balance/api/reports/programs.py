"""Season reports of a program, for its leads: ask for one, see where it stands, fetch its files."""

from __future__ import annotations

import uuid
from typing import Any, Final

from django.db.models import QuerySet
from django.http import HttpResponse
from drf_spectacular.utils import OpenApiExample, OpenApiParameter, extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.reverse import reverse

from balance.api.leading import SECONDS, WAITING, LeadsView, answer_of_work
from balance.api.reports.reports import FILES_OF_A_REPORT, RENDERERS_OF_FILES, file_answer
from balance.models import ProgramReport
from balance.program_work.cancelling import cancel, retry
from balance.program_work.models import UNFINISHED
from balance.reports.models import UnitSystem
from balance.reports.programs.asking import Wanted, ask_for_program_report, file_of, report_of, reports_of
from balance.reports.programs.rendering import FORMS
from records.api.parameters import SEASON
from records.api.preconditions import accepted, place_of
from records.api.strict import StrictIntegerField, StrictQuery, StrictSerializer, StrictUUIDField
from records.errors import NotFound
from records.models.jobs import JobState

_AT: Final = "http://localhost:8000/api/v1/programs/01991b5e-0000-7000-8000-0000000009a1/reports/"
PROGRAM_REPORT_EXAMPLE: Final[dict[str, Any]] = {
    "id": "01991b5e-0000-7000-8000-00000000e9b1",
    "season": 2026,
    "units": "metric",
    "state": "succeeded",
    "failure": "",
    "asked_at": "2026-11-20T15:04:05Z",
    "finished_at": "2026-11-20T15:04:09Z",
    "cancel_asked_at": None,
    "taken_at": "2026-11-20T15:04:06Z",
    "check_code": "9f86d081884c7d659a2feaa0c55ad015a3bf4f1b2b0b822cd15d6c15b0f00a08",
    "made_by_version": "1.0.0",
    "files": {"json": f"{_AT}01991b5e-0000-7000-8000-00000000e9b1/files/json"},
}
_QUEUED: Final = {
    **PROGRAM_REPORT_EXAMPLE, "state": "queued", "finished_at": None, "taken_at": None, "check_code": "",
    "made_by_version": "", "files": {},
}  # fmt: skip

_CANCELLED: Final = {**_QUEUED, "state": "cancelled", "cancel_asked_at": "2026-11-20T15:04:06Z"}


class ProgramReportIn(StrictSerializer):
    """A report of a program to be made."""

    id = StrictUUIDField(required=False, help_text="Made by the client, so that sending again is safe.")
    season = StrictIntegerField(min_value=1900, max_value=2100, help_text="Harvest year.")
    units = serializers.ChoiceField(choices=UnitSystem.choices, help_text="Metric or US units, never mixed.")


class ProgramReportOut(serializers.ModelSerializer[ProgramReport]):
    """One report of a program: where it stands, and its files once it is made."""

    state = serializers.ChoiceField(choices=JobState.choices, help_text="Of the making.")
    failure = serializers.CharField(help_text="Why it was not made; else empty.")
    asked_at = serializers.DateTimeField(source="received_at")
    taken_at = serializers.DateTimeField(
        allow_null=True, help_text="The point in time that it stands for; the same for every report of a season."
    )
    files = serializers.SerializerMethodField(help_text="Where to fetch each form; empty until it is made.")

    class Meta:
        model = ProgramReport
        fields = [*PROGRAM_REPORT_EXAMPLE]

    def get_files(self, report: ProgramReport) -> dict[str, str]:
        if report.state != JobState.SUCCEEDED:
            return {}
        ids = {"program": report.program_id, "program_report": report.pk}
        request = self.context.get("request")  # a refusal shows it without one
        return {
            form: str(reverse("program-report-file", kwargs={**ids, "form": form}, request=request)) for form in FORMS
        }


class _LeadsView(LeadsView):
    """A view of reports for the leads of the program that the address names."""

    serializer_class = ProgramReportOut


class ProgramReports(_LeadsView):
    """The reports of a program."""

    keyset = ("-received_at", "-id")

    def get_queryset(self) -> QuerySet[ProgramReport]:
        return reports_of(self.program)

    @extend_schema(
        summary="List season reports of a program",
        description="For its leads; the newest first.",
        parameters=[OpenApiParameter("season", SEASON, description="Only of this harvest year.")],
        responses=ProgramReportOut(many=True),
        tags=["programs"],
        examples=[OpenApiExample("A report", value=PROGRAM_REPORT_EXAMPLE, response_only=True)],
    )
    def get(self, request: Request, program: uuid.UUID) -> Response:  # noqa: ARG002
        query = StrictQuery.of(request, paged=True, season=StrictIntegerField(min_value=1900, max_value=2100))
        page = self.paginate_queryset(self.get_queryset().filter(**query))
        return self.get_paginated_response(self.get_serializer(page, many=True).data)

    @extend_schema(
        summary="Ask for a season report of a program",
        description="For its leads. A worker counts the farms whose owners let the program count them, at one point in "
        "time, and shows what the privacy rules allow. A season is counted once: later reports of it say the same "
        "numbers, so ask once its records are complete. A season whose benchmarks were told has no report "
        "beside them: one could be taken from the other. While one of the same season and units is being made, asking "
        "again gives the same; with an id of the client's own, sending it again is safe for ever.",
        request=ProgramReportIn,
        responses={202: ProgramReportOut},
        tags=["programs"],
        examples=[
            OpenApiExample("For the past season", value={"season": 2026, "units": "metric"}, request_only=True),
            OpenApiExample("Asked for", value=_QUEUED, response_only=True, status_codes=["202"]),
        ],
    )
    def post(self, request: Request, program: uuid.UUID) -> Response:
        StrictQuery.of(request)
        sent = ProgramReportIn(data=request.data)
        sent.is_valid(raise_exception=True)
        told = sent.validated_data
        wanted = Wanted(told["season"], told["units"], told.get("id"))
        report = ask_for_program_report(self.caller, self.program, wanted)
        told = self.get_serializer(report).data
        return accepted(told, _place(request, program, report.pk), seconds=SECONDS)


class OneProgramReport(_LeadsView):
    """One report of a program."""

    @extend_schema(
        summary="Read a season report of a program",
        description="For its leads: where it stands; while it is unfinished, Retry-After says when it is worth asking "
        "again.",
        responses=ProgramReportOut,
        tags=["programs"],
        examples=[OpenApiExample("A report", value=PROGRAM_REPORT_EXAMPLE, response_only=True)],
    )
    def get(self, request: Request, program: uuid.UUID, program_report: uuid.UUID) -> Response:  # noqa: ARG002
        StrictQuery.of(request)
        found = report_of(self.program, program_report)
        headers = WAITING if found.state in UNFINISHED else {}
        return Response(self.get_serializer(found).data, headers=headers)


class ProgramReportCancellation(_LeadsView):
    """The end of a report that is not wanted any more."""

    @extend_schema(
        summary="Cancel a season report of a program",
        description="For its leads: one that waits is cancelled at once (200); one that is being made is asked to stop "
        "and does so at its next step (202): follow it. Asking again changes nothing; one that has ended otherwise is "
        "refused (409).",
        request=None,
        responses={200: ProgramReportOut, 202: ProgramReportOut},
        tags=["programs"],
        examples=[OpenApiExample("Cancelled", value=_CANCELLED, response_only=True, status_codes=["200"])],
    )
    def post(self, request: Request, program: uuid.UUID, program_report: uuid.UUID) -> Response:
        StrictQuery.of(request)
        cancel(ProgramReport, self.program, program_report)
        return answer_of_work(self, report_of(self.program, program_report), _place(request, program, program_report))


class ProgramReportRetry(_LeadsView):
    """Another try of a report that failed or was cancelled."""

    @extend_schema(
        summary="Try a season report of a program again",
        description="For its leads: one that failed or was cancelled is tried again, with three attempts more, in the "
        "name of whoever asks. One that waits or is being made is left as it is, so asking again changes nothing; one "
        "that has succeeded is refused (409).",
        request=None,
        responses={202: ProgramReportOut},
        tags=["programs"],
        examples=[OpenApiExample("Waiting again", value=_QUEUED, response_only=True, status_codes=["202"])],
    )
    def post(self, request: Request, program: uuid.UUID, program_report: uuid.UUID) -> Response:
        StrictQuery.of(request)
        retry(ProgramReport, self.caller, self.program, program_report)
        return answer_of_work(self, report_of(self.program, program_report), _place(request, program, program_report))


class ProgramReportFileView(_LeadsView):
    """One file of a report of a program."""

    renderer_classes = RENDERERS_OF_FILES

    @extend_schema(
        summary="Fetch a file of a season report of a program",
        description="For its leads: one form of the report, which no cache keeps. 409 until it is made.",
        parameters=[OpenApiParameter("form", str, OpenApiParameter.PATH, enum=list(FORMS), description="Which form.")],
        responses=FILES_OF_A_REPORT,
        tags=["programs"],
    )
    def get(self, request: Request, program: uuid.UUID, program_report: uuid.UUID, form: str) -> HttpResponse:  # noqa: ARG002
        StrictQuery.of(request)
        if form not in FORMS:
            raise NotFound
        return file_answer(file_of(self.program, program_report, form))


def _place(request: Request, program: uuid.UUID, program_report: uuid.UUID) -> str:
    return place_of(request, "program-report", program=program, program_report=program_report)
