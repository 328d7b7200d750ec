"""Jobs as they are shown."""

from __future__ import annotations

import uuid

from django.db.models import QuerySet
from drf_spectacular.utils import OpenApiExample, extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from records.api.strict import StrictQuery
from records.api.views import FarmView
from records.models import Job
from records.models.jobs import JobState
from records.services.jobs import job_of

JOB_EXAMPLE = {
    "id": "01991b5e-0000-7000-8000-00000000f0b1",
    "kind": "import_vines",
    "state": "succeeded",
    "attempts": 1,
    "progress_done": 352,
    "progress_total": 352,
    "failure": "",
    "received_at": "2026-11-20T15:04:05Z",
    "started_at": "2026-11-20T15:04:05Z",
    "finished_at": "2026-11-20T15:04:06Z",
}
UNFINISHED = {JobState.QUEUED, JobState.RUNNING}


class JobOut(serializers.ModelSerializer[Job]):
    """Work in the background: where it stands, and why it failed if it did."""

    class Meta:
        model = Job
        fields = [*JOB_EXAMPLE]


class Jobs(FarmView):
    """The jobs of a farm."""

    keyset = ("-received_at", "-id")
    serializer_class = JobOut

    def get_queryset(self) -> QuerySet[Job]:
        return Job.objects.for_farm(self.opened.farm)

    @extend_schema(
        summary="List jobs",
        description="The newest first.",
        responses=JobOut(many=True),
        tags=["jobs"],
        examples=[OpenApiExample("A finished job", value=JOB_EXAMPLE, response_only=True)],
    )
    def get(self, request: Request, farm: uuid.UUID) -> Response:  # noqa: ARG002
        StrictQuery.of(request, paged=True)
        page = self.paginate_queryset(self.get_queryset())
        return self.get_paginated_response(self.get_serializer(page, many=True).data)


class OneJob(FarmView):
    """One job."""

    serializer_class = JobOut

    @extend_schema(
        summary="Read a job",
        description="While it is unfinished, Retry-After says when it is worth asking again.",
        responses=JobOut,
        tags=["jobs"],
        examples=[OpenApiExample("A finished job", value=JOB_EXAMPLE, response_only=True)],
    )
    def get(self, request: Request, farm: uuid.UUID, job: uuid.UUID) -> Response:  # noqa: ARG002
        StrictQuery.of(request)
        found = job_of(self.opened, job)
        headers = {"Retry-After": "1"} if found.state in UNFINISHED else {}
        return Response(JobOut(found).data, headers=headers)
