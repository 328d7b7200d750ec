"""Everything of a farm, to take out; and the farm, to erase."""

from __future__ import annotations

import uuid
from collections.abc import Mapping
from typing import ClassVar

from django.db.models import QuerySet
from django.http import StreamingHttpResponse
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiExample, OpenApiResponse, extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.reverse import reverse

from records.access import Right
from records.api.forms import ZipRenderer
from records.api.jobs import UNFINISHED
from records.api.preconditions import accepted, place_of
from records.api.strict import StrictCharField, StrictQuery, StrictSerializer
from records.api.views import FarmView
from records.models import Erasure, Export
from records.models.jobs import JobState
from records.services import erasure, exports

EXPORT_EXAMPLE = {
    "id": "01991b5e-0000-7000-8000-00000000e0a1",
    "job": "01991b5e-0000-7000-8000-00000000f0b1",
    "state": "succeeded",
    "asked_at": "2026-11-20T15:04:05Z",
    "taken_at": "2026-11-20T15:04:06Z",
    "rows": 1482,
    "size": 48211,
    "sha256": "9f86d081884c7d659a2feaa0c55ad015a3bf4f1b2b0b822cd15d6c15b0f00a08",
    "expires_at": "2026-11-27T15:04:07Z",
    "file": "http://localhost:8000/api/v1/farms/01991b5e-0000-7000-8000-00000000fa01/exports/"
    "01991b5e-0000-7000-8000-00000000e0a1/file",
}
ERASED_EXAMPLE = {
    "farm": "01991b5e-0000-7000-8000-00000000fa01",
    "erased_at": "2026-11-20T15:04:05Z",
    "rows": {"block": 2, "dormant_record": 351, "membership": 3, "record_change": 12, "vine": 351},
}
#: Only who may manage the farm takes everything out or looks at what was taken.
_MANAGE: Mapping[str, Right] = {"GET": Right.MANAGE, "HEAD": Right.MANAGE, "POST": Right.MANAGE}


class ExportOut(serializers.ModelSerializer[Export]):
    """One export: where its job stands, and the file once it is whole."""

    job = serializers.UUIDField(source="job_id", help_text="The job that writes it.")
    state = serializers.ChoiceField(source="job.state", choices=JobState.choices, help_text="Of the job.")
    asked_at = serializers.DateTimeField(source="received_at")
    file = serializers.SerializerMethodField(help_text="Where to fetch the file; null until it is whole.")

    class Meta:
        model = Export
        fields = [*EXPORT_EXAMPLE]

    def get_file(self, export: Export) -> str | None:
        if export.attempt is None:
            return None
        ids = {"farm": export.farm_id, "export": export.pk}
        return str(reverse("export-file", kwargs=ids, request=self.context["request"]))


class ErasureIn(StrictSerializer):
    """The confirmation."""

    farm_name = StrictCharField(max_length=120, help_text="The farm's name, typed out, so that nobody errs.")


class ErasureOut(serializers.ModelSerializer[Erasure]):
    """What was erased."""

    farm = serializers.UUIDField(source="erased_farm_id")
    rows = serializers.SerializerMethodField(help_text="How many rows of which table.")

    class Meta:
        model = Erasure
        fields = [*ERASED_EXAMPLE]

    def get_rows(self, line: Erasure) -> dict[str, int]:
        return dict(sorted(line.counts.items()))


class Exports(FarmView):
    """The exports of a farm."""

    rights = _MANAGE
    keyset = ("-received_at", "-id")
    serializer_class = ExportOut

    def get_queryset(self) -> QuerySet[Export]:
        return exports.exports_of(self.opened)

    @extend_schema(
        summary="List exports",
        description="The newest first; a file is kept for seven days, and three files of a farm at most.",
        responses=ExportOut(many=True),
        tags=["exports"],
        examples=[OpenApiExample("An export", value=EXPORT_EXAMPLE, response_only=True)],
    )
    def get(self, request: Request, farm: uuid.UUID) -> Response:  # noqa: ARG002
        StrictQuery.of(request, paged=True)
        page = self.paginate_queryset(self.get_queryset())
        return self.get_paginated_response(self.get_serializer(page, many=True).data)

    @extend_schema(
        summary="Take everything out",
        description="A worker writes every table of the farm, history included, as it was at one point in time: one "
        "ZIP with NDJSON and CSV for each table and a README.txt that names columns and units. While one export is "
        "being written, asking again gives the same.",
        request=None,
        responses={202: ExportOut},
        tags=["exports"],
        examples=[
            OpenApiExample(
                "Asked for",
                value={
                    **EXPORT_EXAMPLE,
                    **dict.fromkeys(("taken_at", "expires_at", "file")),
                    "state": "queued",
                    "rows": 0,
                    "size": 0,
                    "sha256": "",
                },
                response_only=True,
                status_codes=["202"],
            )
        ],
    )
    def post(self, request: Request, farm: uuid.UUID) -> Response:
        StrictQuery.of(request)
        export = exports.ask_for_export(self.opened)
        return accepted(self.get_serializer(export).data, place_of(request, "job", farm=farm, job=export.job_id))


class OneExport(FarmView):
    """One export."""

    rights = dict.fromkeys(("GET", "HEAD"), Right.MANAGE)
    serializer_class = ExportOut

    @extend_schema(
        summary="Read an export",
        description="Where it stands; while it is unfinished, Retry-After says when it is worth asking again.",
        responses=ExportOut,
        tags=["exports"],
        examples=[OpenApiExample("An export", value=EXPORT_EXAMPLE, response_only=True)],
    )
    def get(self, request: Request, farm: uuid.UUID, export: uuid.UUID) -> Response:  # noqa: ARG002
        StrictQuery.of(request)
        found = exports.export_of(self.opened, export)
        headers = {"Retry-After": "1"} if found.job.state in UNFINISHED else {}
        return Response(self.get_serializer(found).data, headers=headers)


class ExportFile(FarmView):
    """The file of an export."""

    rights = dict.fromkeys(("GET", "HEAD"), Right.MANAGE)
    renderer_classes = [ZipRenderer]

    @extend_schema(
        summary="Fetch the file of an export",
        description="The ZIP, as an attachment that no cache keeps. 409 until it is written, 410 once it has expired.",
        responses={
            (200, "application/zip"): OpenApiResponse(
                OpenApiTypes.BINARY,
                description="The ZIP.",
                examples=[OpenApiExample("Its first bytes", value="PK\u0003\u0004", media_type="application/zip")],
            )
        },
        tags=["exports"],
    )
    def get(self, request: Request, farm: uuid.UUID, export: uuid.UUID) -> StreamingHttpResponse:
        StrictQuery.of(request)
        found = exports.whole_export_of(self.opened, export)
        name = f"farm-{farm}-{found.taken_at:%Y%m%dT%H%M%SZ}.zip"
        return StreamingHttpResponse(
            exports.parts_for(self.caller, farm, found),
            content_type="application/zip",
            headers={
                "Content-Disposition": f'attachment; filename="{name}"',
                "Content-Length": str(found.size),
                "Cache-Control": "private, no-store",
                "X-Content-Type-Options": "nosniff",
            },
        )


class FarmErasure(FarmView):
    """The end of a farm."""

    rights: ClassVar[Mapping[str, Right]] = {"POST": Right.MANAGE}
    http_method_names = ["post"]
    serializer_class = ErasureOut

    @extend_schema(
        summary="Erase a farm",
        description="Every row of the farm goes, in every table: records, history, jobs, files, exports, roles. It "
        "cannot be undone: take everything out first (`…/exports`). Only an owner may, with the farm's name typed as "
        "confirmation. Afterwards the farm is answered as if there had never been one; that it was erased, when and by "
        "whose id is kept, and nothing of its content. Keys stay their persons' own and open nothing there.",
        request=ErasureIn,
        responses={200: ErasureOut},
        tags=["exports"],
        examples=[
            OpenApiExample("Confirmed", request_only=True, value={"farm_name": "Tern Hill Vineyard (invented)"}),
            OpenApiExample("Erased", response_only=True, value=ERASED_EXAMPLE),
        ],
    )
    def post(self, request: Request, farm: uuid.UUID) -> Response:  # noqa: ARG002
        StrictQuery.of(request)
        sent = ErasureIn(data=request.data)
        sent.is_valid(raise_exception=True)
        return Response(ErasureOut(erasure.erase(self.opened, sent.validated_data["farm_name"])).data)
