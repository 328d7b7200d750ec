"""Schedules of season reports: one wish of one person for one farm, every year."""

from __future__ import annotations

import uuid
from collections.abc import Mapping
from datetime import date
from typing import Any, Final

from django.db.models import QuerySet
from drf_spectacular.utils import OpenApiExample, extend_schema
from rest_framework import serializers, status
from rest_framework.request import Request
from rest_framework.response import Response

from balance.models import ReportSchedule
from balance.reports.models import UnitSystem
from balance.reports.schedules import (
    change_schedule,
    make_schedule,
    remove_schedule,
    schedule_of,
    schedules_of,
    why_over,
)
from records.access import Right
from records.api.preconditions import answer, expected_version, place_of
from records.api.strict import StrictBooleanField, StrictIntegerField, StrictQuery, StrictSerializer, StrictUUIDField
from records.api.views import FarmView
from records.errors import NotValid

SCHEDULE_EXAMPLE: Final[dict[str, Any]] = {
    "id": "01991b5e-0000-7000-8000-0000000e5c4d",
    "month": 12,
    "day": 1,
    "units": "us",
    "by_email": True,
    "next_on": "2026-12-01",
    "ended_because": "",
    "version": 1,
    "received_at": "2026-11-20T15:04:05Z",
    "changed_at": "2026-11-20T15:04:05Z",
}
_NEW: Final = {"month": 12, "day": 1, "units": "us", "by_email": True}
#: Whoever may read a farm may be made its report.
RIGHTS: Final = dict.fromkeys(("GET", "HEAD", "POST", "PATCH", "DELETE"), Right.READ)


def require_both_or_neither(said: Mapping[str, Any]) -> None:
    """Refuse a day without its month, and a month without a day.

    Raises
    ------
    NotValid
    """
    if ("month" in said) != ("day" in said):
        lacking = "day" if "month" in said else "month"
        detail = "A day needs its month. Send both month and day, or neither for the day after the season's end."
        raise NotValid.at(lacking, code="month_and_day", detail=detail)


class ScheduleChange(StrictSerializer):
    """When, in which units, and whether to be told."""

    month = StrictIntegerField(required=False, min_value=1, max_value=12, help_text="Of the farm's calendar.")
    day = StrictIntegerField(required=False, min_value=1, max_value=28, help_text="1 to 28: every month has them.")
    units = serializers.ChoiceField(
        choices=UnitSystem.choices, required=False, help_text="Metric or US units, never mixed."
    )
    by_email = StrictBooleanField(required=False, help_text="Whether to be told by e-mail; true if left out.")


class ScheduleIn(ScheduleChange):
    """A report to be made every year."""

    id = StrictUUIDField(required=False, help_text="Made by the client, so that sending again is safe.")
    units = serializers.ChoiceField(choices=UnitSystem.choices, help_text="Metric or US units, never mixed.")


class ScheduleOut(serializers.ModelSerializer[ReportSchedule]):
    """A schedule, and when its next report is made."""

    next_on = serializers.SerializerMethodField(
        help_text="The day on the farm on which the next one is made; null once the schedule has ended."
    )
    ended_because = serializers.SerializerMethodField(
        help_text="Why nothing more is made, such as a consent that ended; any change sets the schedule going again."
    )

    class Meta:
        model = ReportSchedule
        fields = [*SCHEDULE_EXAMPLE]

    def get_next_on(self, schedule: ReportSchedule) -> date | None:
        return None if why_over(schedule) else schedule.next_on

    def get_ended_because(self, schedule: ReportSchedule) -> str:
        return why_over(schedule)


class Schedules(FarmView):
    """The caller's schedules on a farm."""

    rights = RIGHTS
    keyset = ("received_at", "id")
    serializer_class = ScheduleOut

    def get_queryset(self) -> QuerySet[ReportSchedule]:
        return schedules_of(self.opened)

    @extend_schema(
        summary="List one's own schedules of season reports",
        description="There is at most one for each person and farm; nobody sees those of others.",
        responses=ScheduleOut(many=True),
        tags=["reports"],
        examples=[OpenApiExample("Every year", value=SCHEDULE_EXAMPLE, response_only=True)],
    )
    def get(self, request: Request, farm: uuid.UUID) -> Response:  # noqa: ARG002
        StrictQuery.of(request, paged=True)
        page = self.paginate_queryset(self.get_queryset())
        return self.get_paginated_response(self.get_serializer(page, many=True).data)

    @extend_schema(
        summary="Have a season report made every year",
        description="Every year on this day, in the morning on the farm, the report of the season that has ended is "
        "made for whoever asks here. Without a day it is the first of December in the north and of June in the south, "
        "after leaf fall (common practice, no source). It works in that person's name: when their role on the farm or "
        "the farm's consent ends, the schedule ends.",
        request=ScheduleIn,
        responses={200: ScheduleOut, 201: ScheduleOut},
        tags=["reports"],
        examples=[
            OpenApiExample("On the first of December", value=_NEW, request_only=True),
            OpenApiExample("The schedule", value=SCHEDULE_EXAMPLE, response_only=True),
        ],
    )
    def post(self, request: Request, farm: uuid.UUID) -> Response:
        StrictQuery.of(request)
        sent = ScheduleIn(data=request.data)
        sent.is_valid(raise_exception=True)
        said: dict[str, Any] = {"by_email": True, **sent.validated_data}
        require_both_or_neither(said)
        stored = make_schedule(self.opened, said.pop("id", None), said)
        location = place_of(request, "report-schedule", farm=farm, schedule=stored.row.pk) if stored.created else None
        return answer(ScheduleOut(stored.row).data, stored.row, created=stored.created, location=location)


class OneSchedule(FarmView):
    """One schedule of the caller's own."""

    rights = RIGHTS
    serializer_class = ScheduleOut

    @extend_schema(
        summary="Read a schedule of season reports",
        description="With its version as ETag.",
        responses=ScheduleOut,
        tags=["reports"],
        examples=[OpenApiExample("Every year", value=SCHEDULE_EXAMPLE, response_only=True)],
    )
    def get(self, request: Request, farm: uuid.UUID, schedule: uuid.UUID) -> Response:  # noqa: ARG002
        StrictQuery.of(request)
        found = schedule_of(self.opened, schedule)
        return answer(ScheduleOut(found).data, found)

    @extend_schema(
        summary="Change a schedule of season reports",
        description="Send the members to change, and the ETag as If-Match. Another day holds from its next return on.",
        request=ScheduleChange,
        responses=ScheduleOut,
        tags=["reports"],
        examples=[
            OpenApiExample("Another day", value={"month": 11, "day": 20}, request_only=True),
            OpenApiExample("Changed", value={**SCHEDULE_EXAMPLE, "version": 2}, response_only=True),
        ],
    )
    def patch(self, request: Request, farm: uuid.UUID, schedule: uuid.UUID) -> Response:  # noqa: ARG002
        StrictQuery.of(request)
        sent = ScheduleChange(data=request.data)
        sent.is_valid(raise_exception=True)
        version = expected_version(request)
        changed = change_schedule(self.opened, schedule, sent.validated_data, version=version)
        return answer(ScheduleOut(changed).data, changed)

    @extend_schema(
        summary="Remove a schedule of season reports",
        description="Nothing more is made by it. Reports that it asked for stay.",
        responses={204: None},
        tags=["reports"],
    )
    def delete(self, request: Request, farm: uuid.UUID, schedule: uuid.UUID) -> Response:  # noqa: ARG002
        StrictQuery.of(request)
        remove_schedule(self.opened, schedule, version=expected_version(request))
        return Response(status=status.HTTP_204_NO_CONTENT)
