"""Dormant records with their targets: the call that a field app makes most."""

from __future__ import annotations

import uuid
from typing import Any

from django.db.models import QuerySet
from drf_spectacular.utils import OpenApiExample, OpenApiParameter, extend_schema, extend_schema_field
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from balance.api.answers import (
    TARGET_EXAMPLE,
    VERDICT_EXAMPLE,
    TargetOut,
    VerdictOut,
    target_shown,
    verdict_shown,
)
from balance.targets import Answer, told, verdict_on
from records.api.dormant import (
    NEW_RECORD,
    RECORD_EXAMPLE,
    DormantRecordIn,
    DormantRecordOut,
    DormantRecordPatch,
)
from records.api.preconditions import answer, expected_version, place_of
from records.api.strict import StrictIntegerField, StrictQuery, StrictUUIDField
from records.api.views import READ_AND_RECORD, FarmView
from records.models import DormantRecord, RecordChange
from records.services.dormant import Weighing, correct_weighing, dormant_record, record_weighing

ANSWER_EXAMPLE = {**RECORD_EXAMPLE, "target": TARGET_EXAMPLE, "verdict": None}
COUNTED_EXAMPLE = {**ANSWER_EXAMPLE, "nodes_retained": 38, "version": 2, "verdict": VERDICT_EXAMPLE}
VERSION_EXAMPLE = {
    "version": 1,
    "replaced_at": "2027-01-16T15:20:11Z",
    "replaced_by": "01991b5e-0000-7000-8000-0000000000a2",
    "reason": "counted after the final cut",
    "record": {"nodes_retained": None, "pruning_weight_value": 2.8, "pruning_weight_unit": "[lb_av]"},
}


class DormantRecordWithTarget(DormantRecordOut):
    """A dormant record, its target, and the verdict on the count that was left."""

    target = serializers.SerializerMethodField(help_text="What to keep on this vine, and why.")
    verdict = serializers.SerializerMethodField(help_text="Null until nodes_retained is known.")

    _answer: Answer | None = None

    class Meta(DormantRecordOut.Meta):
        fields = [*DormantRecordOut.Meta.fields, "target", "verdict"]

    @extend_schema_field(TargetOut)
    def get_target(self, record: DormantRecord) -> dict[str, Any]:
        return target_shown(self._told(record))

    @extend_schema_field(VerdictOut(allow_null=True))
    def get_verdict(self, record: DormantRecord) -> dict[str, Any] | None:
        return verdict_shown(verdict_on(record.nodes_retained, self._told(record)))

    def _told(self, record: DormantRecord) -> Answer:
        """Tell once, whichever member of the answer asks first."""
        if self._answer is None:
            self._answer = told(self.context["view"].opened, record)
        return self._answer


class VersionOut(serializers.ModelSerializer[RecordChange]):
    """A version of a record that a later one replaced."""

    replaced_at = serializers.DateTimeField(source="changed_at")
    replaced_by = serializers.UUIDField(source="person_id", allow_null=True)
    record = serializers.SerializerMethodField(help_text="The record as it stood, column by column.")

    class Meta:
        model = RecordChange
        fields = [*VERSION_EXAMPLE]

    @extend_schema_field({"type": "object", "additionalProperties": True})
    def get_record(self, change: RecordChange) -> dict[str, Any]:
        return {name: value for name, value in change.old_row.items() if name != "created_digest"}


class DormantRecords(FarmView):
    """The dormant records of a farm."""

    rights = READ_AND_RECORD
    keyset = ("season", "id")
    serializer_class = DormantRecordOut

    def get_queryset(self) -> QuerySet[DormantRecord]:
        return DormantRecord.objects.for_farm(self.opened.farm)

    @extend_schema(
        summary="List dormant records",
        description="By season; without targets, which `…/blocks/{block}/targets` gives for a whole block at once.",
        parameters=[
            OpenApiParameter("season", int, description="Only this harvest year."),
            OpenApiParameter("block", uuid.UUID, description="Only this block."),
            OpenApiParameter("vine", uuid.UUID, description="Only this vine."),
        ],
        responses=DormantRecordOut(many=True),
        tags=["dormant records"],
        examples=[OpenApiExample("One record", value=RECORD_EXAMPLE, response_only=True)],
    )
    def get(self, request: Request, farm: uuid.UUID) -> Response:  # noqa: ARG002
        query = StrictQuery.of(
            request,
            paged=True,
            season=StrictIntegerField(min_value=1900, max_value=2100),
            block=StrictUUIDField(),
            vine=StrictUUIDField(),
        )
        page = self.paginate_queryset(self.get_queryset().filter(**query))
        return self.get_paginated_response(self.get_serializer(page, many=True).data)

    @extend_schema(
        summary="Post a weighing, get the target",
        description="Stores the dormant record of one vine and answers with the target: formula, source, steps, what "
        "the scale is worth. Sent again with the same id, it stores nothing new and answers 200 with the record as it "
        "stands.",
        request=DormantRecordIn,
        responses={200: DormantRecordWithTarget, 201: DormantRecordWithTarget},
        tags=["dormant records"],
        examples=[
            OpenApiExample("2.8 lb from a spring scale", value=NEW_RECORD, request_only=True),
            OpenApiExample("The record and its target", value=ANSWER_EXAMPLE, response_only=True),
        ],
    )
    def post(self, request: Request, farm: uuid.UUID) -> Response:
        StrictQuery.of(request)
        sent = DormantRecordIn(data=request.data)
        sent.is_valid(raise_exception=True)
        values: dict[str, Any] = dict(sent.validated_data)
        stored = record_weighing(self.opened, values.pop("id", None), Weighing(**values))
        location = place_of(request, "dormant-record", farm=farm, record=stored.row.pk) if stored.created else None
        data = DormantRecordWithTarget(stored.row, context={"view": self}).data
        return answer(data, stored.row, created=stored.created, location=location)


class OneDormantRecord(FarmView):
    """One dormant record."""

    rights = READ_AND_RECORD
    serializer_class = DormantRecordWithTarget

    @extend_schema(
        summary="Read a dormant record",
        description="With its target and, once the nodes left are known, the verdict; its version as ETag.",
        responses=DormantRecordWithTarget,
        tags=["dormant records"],
        examples=[OpenApiExample("The record and its target", value=ANSWER_EXAMPLE, response_only=True)],
    )
    def get(self, request: Request, farm: uuid.UUID, record: uuid.UUID) -> Response:  # noqa: ARG002
        StrictQuery.of(request)
        return self._answer(dormant_record(self.opened, record))

    @extend_schema(
        summary="Post the retained count, or correct a record",
        description="Send the members to change and the ETag that you read as If-Match. With `nodes_retained` the "
        "answer carries the verdict: within tolerance, too many or too few, and plain slips of arithmetic that give "
        "this count.",
        request=DormantRecordPatch,
        responses=DormantRecordWithTarget,
        tags=["dormant records"],
        examples=[
            OpenApiExample("Counted after the final cut", value={"nodes_retained": 38}, request_only=True),
            OpenApiExample("Ten too few", value=COUNTED_EXAMPLE, response_only=True),
        ],
    )
    def patch(self, request: Request, farm: uuid.UUID, record: uuid.UUID) -> Response:  # noqa: ARG002
        StrictQuery.of(request)
        version = expected_version(request)
        sent = DormantRecordPatch(data=request.data)
        sent.is_valid(raise_exception=True)
        changes: dict[str, Any] = dict(sent.validated_data)
        reason = changes.pop("reason", "")
        return self._answer(correct_weighing(self.opened, record, changes, version=version, reason=reason))

    def _answer(self, record: DormantRecord) -> Response:
        return answer(DormantRecordWithTarget(record, context={"view": self}).data, record)


class Versions(FarmView):
    """What stood in a record before."""

    keyset = ("version", "id")
    serializer_class = VersionOut

    def get_queryset(self) -> QuerySet[RecordChange]:
        record = dormant_record(self.opened, self.kwargs["record"])
        return RecordChange.objects.for_farm(self.opened.farm).filter(entity="dormant_record", entity_id=record.pk)

    @extend_schema(
        summary="Read the replaced versions of a dormant record",
        description="Oldest first: what stood there, who replaced it, when and why.",
        responses=VersionOut(many=True),
        tags=["dormant records"],
        examples=[OpenApiExample("The first version", value=VERSION_EXAMPLE, response_only=True)],
    )
    def get(self, request: Request, farm: uuid.UUID, record: uuid.UUID) -> Response:  # noqa: ARG002
        StrictQuery.of(request, paged=True)
        page = self.paginate_queryset(self.get_queryset())
        return self.get_paginated_response(self.get_serializer(page, many=True).data)
