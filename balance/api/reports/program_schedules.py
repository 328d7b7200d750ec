"""The yearly report of a program: one wish, which any of its leads sets, sees and takes away."""

from __future__ import annotations

import uuid
from typing import Any, Final

from drf_spectacular.utils import OpenApiExample, extend_schema
from rest_framework import serializers, status
from rest_framework.request import Request
from rest_framework.response import Response

from balance.api.leading import LeadsView
from balance.api.reports.schedules import require_both_or_neither
from balance.models import ProgramReportSchedule
from balance.reports.models import UnitSystem
from balance.reports.programs.scheduling import Wish, remove_schedule, schedule_of, set_schedule
from records.api.preconditions import place_of
from records.api.strict import StrictIntegerField, StrictQuery, StrictSerializer
from records.models.farms import Hemisphere

PROGRAM_SCHEDULE_EXAMPLE: Final[dict[str, Any]] = {
    "hemisphere": "north",
    "month": 12,
    "day": 1,
    "units": "us",
    "next_at": "2026-12-01T06:00:00Z",
    "ended_because": "",
    "received_at": "2026-11-20T15:04:05Z",
    "changed_at": "2026-11-20T15:04:05Z",
}


class ProgramScheduleIn(StrictSerializer):
    """When a program's report is to be made every year, and in which units."""

    hemisphere = serializers.ChoiceField(
        choices=Hemisphere.choices, help_text="Of the farms: it says which harvest year is over on that day."
    )
    month = StrictIntegerField(required=False, min_value=1, max_value=12)
    day = StrictIntegerField(required=False, min_value=1, max_value=28, help_text="1 to 28: every month has them.")
    units = serializers.ChoiceField(choices=UnitSystem.choices, help_text="Metric or US units, never mixed.")


class ProgramScheduleOut(serializers.ModelSerializer[ProgramReportSchedule]):
    """The yearly report of a program."""

    next_at = serializers.DateTimeField(
        allow_null=True, help_text="When the next one is asked for; null once the schedule has ended."
    )
    ended_because = serializers.CharField(
        help_text="Why nothing more is made, such as a lead who left; setting it again sets it going."
    )

    class Meta:
        model = ProgramReportSchedule
        fields = [*PROGRAM_SCHEDULE_EXAMPLE]


class ProgramReportScheduleView(LeadsView):
    """The yearly report of a program."""

    serializer_class = ProgramScheduleOut
    takes_if_match = False  # it has no version: any lead replaces what stands, and all of it

    @extend_schema(
        summary="Read the yearly report of a program",
        description="For its leads; 404 while there is none.",
        responses=ProgramScheduleOut,
        tags=["programs"],
        examples=[OpenApiExample("Every year", value=PROGRAM_SCHEDULE_EXAMPLE, response_only=True)],
    )
    def get(self, request: Request, program: uuid.UUID) -> Response:  # noqa: ARG002
        StrictQuery.of(request)
        return Response(ProgramScheduleOut(schedule_of(self.program)).data)

    @extend_schema(
        summary="Have a season report of a program made every year",
        description="For its leads; sent again, it replaces what was set. Every year on this day at six in the morning "
        "UTC the report of the season that is over is asked for, in the name of whoever set it last. Without a day it "
        "is the first of December in the north and of June in the south, after leaf fall (common practice, no source). "
        "It ends when that lead leaves the program.",
        request=ProgramScheduleIn,
        responses={200: ProgramScheduleOut, 201: ProgramScheduleOut},
        tags=["programs"],
        examples=[
            OpenApiExample("After the season", value={"hemisphere": "north", "units": "us"}, request_only=True),
            OpenApiExample("Set", value=PROGRAM_SCHEDULE_EXAMPLE, response_only=True),
        ],
    )
    def post(self, request: Request, program: uuid.UUID) -> Response:
        StrictQuery.of(request)
        sent = ProgramScheduleIn(data=request.data)
        sent.is_valid(raise_exception=True)
        said: dict[str, Any] = sent.validated_data
        require_both_or_neither(said)
        schedule, created = set_schedule(self.caller, self.program, Wish(**said))
        schedule.refresh_from_db()
        told = ProgramScheduleOut(schedule).data
        if not created:
            return Response(told)
        place = place_of(request, "program-report-schedule", program=program)
        return Response(told, status=status.HTTP_201_CREATED, headers={"Location": place})

    @extend_schema(
        summary="Have no more yearly reports of a program made",
        description="For its leads. Reports that it asked for stay.",
        responses={204: None},
        tags=["programs"],
    )
    def delete(self, request: Request, program: uuid.UUID) -> Response:  # noqa: ARG002
        StrictQuery.of(request)
        remove_schedule(self.program)
        return Response(status=status.HTTP_204_NO_CONTENT)
