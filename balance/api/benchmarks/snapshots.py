"""Snapshots of a program's benchmarks, for its leads: ask for one, see where it stands, read what it tells."""

from __future__ import annotations

import uuid
from typing import Any, Final

from django.db.models import QuerySet
from django.http.response import HttpResponseBase
from drf_spectacular.utils import OpenApiExample, OpenApiParameter, extend_schema, extend_schema_field
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from balance.api.benchmarks.told_figures import DIMENSIONS_SHOWN, GROWERS_HELP
from balance.api.figures import MethodOut
from balance.api.leading import SECONDS, WAITING, LeadsView, answer_of_work
from balance.api.summaries.answering import answered, responses
from balance.benchmarks.asking import ask_for_snapshot, snapshot_of, snapshots_of
from balance.benchmarks.measures import BY_NAME, NAMES
from balance.benchmarks.models import BenchmarkSnapshot
from balance.benchmarks.reading import ForLeads, cells_for_leads
from balance.formulas.privacy.rules import RELEASE
from balance.program_work.cancelling import cancel, retry
from balance.program_work.models import UNFINISHED
from records.api.parameters import SEASON
from records.api.preconditions import accepted, place_of
from records.api.strict import StrictIntegerField, StrictQuery, StrictSerializer, StrictUUIDField
from records.models.jobs import JobState

SNAPSHOT_EXAMPLE: Final[dict[str, Any]] = {
    "id": "01991b5e-0000-7000-8000-00000000be01",
    "season": 2026,
    "number": 1,
    "state": "succeeded",
    "failure": "",
    "asked_at": "2026-11-20T15:04:05Z",
    "finished_at": "2026-11-20T15:04:45Z",
    "cancel_asked_at": None,
    "progress_done": 61,
    "progress_total": 61,
    "taken_at": "2026-11-20T15:04:06Z",
    "growers": "20+",
    "made_by_version": "1.0.0",
}
_QUEUED: Final = {
    **SNAPSHOT_EXAMPLE, "number": None, "state": "queued", "finished_at": None, "progress_done": 0,
    "progress_total": None, "taken_at": None, "growers": "", "made_by_version": "",
}  # fmt: skip
_CANCELLED: Final = {**_QUEUED, "state": "cancelled", "cancel_asked_at": "2026-11-20T15:04:06Z"}
_TOLD: Final = {
    "measure": "pruning_weight", "dimension": "all", "label": "", "unit": "kg", "told": True, "mean": 1.23,
    "spread": 0.31, "growers": "20+", "reason_code": "", "reason": "", "spread_reason": "",
}  # fmt: skip
_WITHHELD: Final = {
    **_TOLD, "dimension": "region", "label": "Lower Harrow Vale (invented)", "told": False, "mean": None,
    "spread": None, "growers": "", "reason_code": "largest_too_large",
    "reason": "The largest farm is 72% of the figure; 60% is allowed.",
}  # fmt: skip
_ENDED: Final = ("consent_ended", "Not shown any more: the consent of a farm that stands in it has ended.")


class BenchmarkIn(StrictSerializer):
    """A snapshot to be made."""

    id = StrictUUIDField(required=False, help_text="Made by the client, so that sending again is safe.")
    season = StrictIntegerField(min_value=1900, max_value=2100, help_text="Harvest year.")


class BenchmarkOut(serializers.ModelSerializer[BenchmarkSnapshot]):
    """One snapshot: where it stands."""

    state = serializers.ChoiceField(choices=JobState.choices, help_text="Of the making.")
    number = serializers.IntegerField(allow_null=True, help_text="Counts the snapshots of the season that were made.")
    failure = serializers.CharField(help_text="Why it was not made; else empty.")
    asked_at = serializers.DateTimeField(source="received_at")
    taken_at = serializers.DateTimeField(allow_null=True, help_text="The moment that it stands for.")
    growers = serializers.CharField(help_text="How many growers were counted, as a band; empty: too few to say.")

    class Meta:
        model = BenchmarkSnapshot
        fields = [*SNAPSHOT_EXAMPLE]


class BenchmarkCellOut(serializers.Serializer[Any]):
    """One cell as the leads see it: told, or why it is not."""

    measure = serializers.ChoiceField(choices=NAMES)
    dimension = serializers.ChoiceField(choices=DIMENSIONS_SHOWN)
    label = serializers.CharField(help_text="Empty for all growers together.")  # type: ignore[assignment]
    unit = serializers.CharField(help_text="UCUM code.")
    told = serializers.BooleanField()
    mean = serializers.FloatField(allow_null=True)
    spread = serializers.FloatField(allow_null=True)
    growers = serializers.CharField(help_text=GROWERS_HELP)
    reason_code = serializers.CharField(help_text="Why the mean is not told; for the leads alone.")
    reason = serializers.CharField()
    spread_reason = serializers.CharField(help_text="Why the spread of a mean that is told is not.")


class BenchmarkWithCellsOut(BenchmarkOut):
    """One snapshot with its cells."""

    cells = serializers.SerializerMethodField(help_text="Empty until it is made.")
    method = serializers.SerializerMethodField(help_text="By which rules figures are told.")

    class Meta:
        model = BenchmarkSnapshot
        fields = [*SNAPSHOT_EXAMPLE, "cells", "method"]

    @extend_schema_field(BenchmarkCellOut(many=True))
    def get_cells(self, snapshot: BenchmarkSnapshot) -> list[dict[str, Any]]:
        return [_cell(each) for each in cells_for_leads(snapshot)]

    @extend_schema_field(MethodOut)
    def get_method(self, _: BenchmarkSnapshot) -> dict[str, Any]:
        found: dict[str, Any] = MethodOut(RELEASE).data
        return found


def _cell(each: ForLeads) -> dict[str, Any]:
    cell, told = each.cell, each.cell.mean is not None and not each.ended
    code, reason = _ENDED if each.ended and cell.mean is not None else (cell.reason_code, cell.reason)
    return {
        "measure": cell.measure,
        "dimension": cell.dimension,
        "label": cell.label,
        "unit": BY_NAME[cell.measure].unit,
        "told": told,
        "mean": cell.mean if told else None,
        "spread": cell.spread if told else None,
        "growers": cell.growers if told else "",
        "reason_code": code,
        "reason": reason,
        "spread_reason": cell.spread_reason if told else "",
    }


class Benchmarks(LeadsView):
    """The snapshots of a program."""

    keyset = ("-received_at", "-id")
    serializer_class = BenchmarkOut

    def get_queryset(self) -> QuerySet[BenchmarkSnapshot]:
        return snapshots_of(self.program)

    @extend_schema(
        summary="List the benchmarks of a program",
        description="For its leads; the newest first.",
        parameters=[OpenApiParameter("season", SEASON, description="Only of this harvest year.")],
        responses=BenchmarkOut(many=True),
        tags=["programs"],
        examples=[OpenApiExample("A snapshot", value=SNAPSHOT_EXAMPLE, response_only=True)],
    )
    def get(self, request: Request, program: uuid.UUID) -> Response:  # noqa: ARG002
        query = StrictQuery.of(request, paged=True, season=StrictIntegerField(min_value=1900, max_value=2100))
        page = self.paginate_queryset(self.get_queryset().filter(**query))
        return self.get_paginated_response(self.get_serializer(page, many=True).data)

    @extend_schema(
        summary="Ask for the benchmarks of a program's season",
        description="For its leads. A worker counts the farms whose owners let benchmarks count them, at one point in "
        "time, and keeps what the privacy rules allow; it stays as it is. A season that was told is counted anew only "
        "where the difference would tell of nobody, or where a farm has taken its consent back; else it fails and says "
        "why. A season that a report of the program has told has no benchmarks beside it: one could be "
        "taken from the other. So ask once the season's records are complete. While one of the same season is being "
        "made, asking again gives the same; with an id of the client's own, sending it again is safe for ever.",
        request=BenchmarkIn,
        responses={202: BenchmarkOut},
        tags=["programs"],
        examples=[
            OpenApiExample("For the past season", value={"season": 2026}, request_only=True),
            OpenApiExample("Asked for", value=_QUEUED, response_only=True, status_codes=["202"]),
        ],
    )
    def post(self, request: Request, program: uuid.UUID) -> Response:
        StrictQuery.of(request)
        sent = BenchmarkIn(data=request.data)
        sent.is_valid(raise_exception=True)
        told = sent.validated_data
        snapshot = ask_for_snapshot(self.caller, self.program, told["season"], told.get("id"))
        told = self.get_serializer(snapshot).data
        return accepted(told, _place(request, program, snapshot.pk), seconds=SECONDS)


class OneBenchmark(LeadsView):
    """One snapshot of a program."""

    serializer_class = BenchmarkWithCellsOut

    @extend_schema(
        summary="Read the benchmarks of a program's season",
        description="For its leads: where the snapshot stands, and every cell of it, told or with the reason why it is "
        "not. Nothing is shown any more in which a farm stands whose consent has ended. While it is unfinished, "
        "Retry-After says when it is worth asking again. The ETag is of what the answer says.",
        responses=responses(BenchmarkWithCellsOut),
        tags=["programs"],
        examples=[
            OpenApiExample(
                "A snapshot, shortened",
                value={**SNAPSHOT_EXAMPLE, "cells": [_TOLD, _WITHHELD], "method": MethodOut(RELEASE).data},
                response_only=True,
                status_codes=["200"],
            )
        ],
    )
    def get(self, request: Request, program: uuid.UUID, benchmark: uuid.UUID) -> HttpResponseBase:  # noqa: ARG002
        StrictQuery.of(request)
        found = snapshot_of(self.program, benchmark)
        return answered(request, self.get_serializer(found).data, WAITING if found.state in UNFINISHED else {})


class BenchmarkCancellation(LeadsView):
    """The end of a snapshot that is not wanted any more."""

    serializer_class = BenchmarkOut

    @extend_schema(
        summary="Cancel benchmarks that are being made",
        description="For the program's leads: what waits is cancelled at once (200); what is being made is asked to "
        "stop and does so at its next step (202): follow it. Asking again changes nothing; what has ended otherwise is "
        "refused (409).",
        request=None,
        responses={200: BenchmarkOut, 202: BenchmarkOut},
        tags=["programs"],
        examples=[OpenApiExample("Cancelled", value=_CANCELLED, response_only=True, status_codes=["200"])],
    )
    def post(self, request: Request, program: uuid.UUID, benchmark: uuid.UUID) -> Response:
        StrictQuery.of(request)
        cancel(BenchmarkSnapshot, self.program, benchmark)
        return answer_of_work(self, snapshot_of(self.program, benchmark), _place(request, program, benchmark))


class BenchmarkRetry(LeadsView):
    """Another try of a snapshot that failed or was cancelled."""

    serializer_class = BenchmarkOut

    @extend_schema(
        summary="Try benchmarks again",
        description="For the program's leads: what failed or was cancelled is tried again, with three attempts more, "
        "in the name of whoever asks. What waits or is being made is left as it is, so asking again changes nothing; "
        "what has succeeded is refused (409).",
        request=None,
        responses={202: BenchmarkOut},
        tags=["programs"],
        examples=[OpenApiExample("Waiting again", value=_QUEUED, response_only=True, status_codes=["202"])],
    )
    def post(self, request: Request, program: uuid.UUID, benchmark: uuid.UUID) -> Response:
        StrictQuery.of(request)
        retry(BenchmarkSnapshot, self.caller, self.program, benchmark)
        return answer_of_work(self, snapshot_of(self.program, benchmark), _place(request, program, benchmark))


def _place(request: Request, program: uuid.UUID, benchmark: uuid.UUID) -> str:
    return place_of(request, "benchmark", program=program, benchmark=benchmark)
