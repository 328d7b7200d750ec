"""Jobs as they are shown."""

from __future__ import annotations

import uuid

from django.db.models import QuerySet
from drf_spectacular.utils import OpenApiExample, extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from records.access import Right
from records.api.preconditions import accepted, place_of
from records.api.strict import StrictQuery
from records.api.views import FarmView
from records.models import Job
from records.models.jobs import JobState
from records.services.cancelling import attempts_of, cancel_job, retry_job
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
    "cancel_asked_at": None,
}
_AT = "2026-11-20T15:04:06Z"
_STOPPING = {**JOB_EXAMPLE, "state": "running", "progress_done": 120, "finished_at": None, "cancel_asked_at": _AT}
_CANCELLED = {**_STOPPING, "state": "cancelled", "finished_at": _AT}
_QUEUED = {
    **JOB_EXAMPLE, "state": "queued", "attempts": 0, "progress_done": 0, "progress_total": None, "started_at": None,
    "finished_at": None,
}  # fmt: skip
#: The door lets in whoever may read; what the kind of job takes beyond that is asked for once the job is known.
_ASKING = {"POST": Right.READ}
UNFINISHED = {JobState.QUEUED, JobState.RUNNING}


class JobOut(serializers.ModelSerializer[Job]):
    """Work in the background: where it stands, and why it failed if it did."""

    attempts = serializers.SerializerMethodField(help_text="How often a worker took it up since it was asked for.")

    class Meta:
        model = Job
        fields = [*JOB_EXAMPLE]

    def get_attempts(self, job: Job) -> int:
        return attempts_of(job)


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


def _answer(request: Request, job: Job) -> Response:
    """Answer 202 and where to look while a worker has something left to do, else 200."""
    if job.state not in UNFINISHED:
        return Response(JobOut(job).data)
    return accepted(JobOut(job).data, place_of(request, "job", farm=job.farm_id, job=job.pk))


class JobCancellation(FarmView):
    """The end of a job that is not wanted any more."""

    rights = _ASKING
    serializer_class = JobOut

    @extend_schema(
        summary="Cancel a job",
        description="Whoever may ask for such a job may cancel it. One that waits is cancelled at once (200). One that "
        "runs is asked to stop and does so at its next step (202): follow it; one that was at its last step succeeds. "
        "What an import had stored by then stays, and its lines say so; of a report or an export nothing is left. "
        "Asking again changes nothing; a job that has ended otherwise is refused (409).",
        request=None,
        responses={200: JobOut, 202: JobOut},
        tags=["jobs"],
        examples=[
            OpenApiExample("Cancelled", value=_CANCELLED, response_only=True, status_codes=["200"]),
            OpenApiExample("Being stopped", value=_STOPPING, response_only=True, status_codes=["202"]),
        ],
    )
    def post(self, request: Request, farm: uuid.UUID, job: uuid.UUID) -> Response:  # noqa: ARG002
        StrictQuery.of(request)
        return _answer(request, cancel_job(self.opened, job))


class JobRetry(FarmView):
    """Another try of a job that failed or was cancelled."""

    rights = _ASKING
    serializer_class = JobOut

    @extend_schema(
        summary="Try a job again",
        description="Whoever may ask for such a job may have one that failed or was cancelled tried again: the same "
        "job, with three attempts more, in the name of whoever asked for it first. What it had done stays done once. "
        "A job that waits or runs is left as it is, so asking again changes nothing; one that has succeeded is refused "
        "(409).",
        request=None,
        responses={202: JobOut},
        tags=["jobs"],
        examples=[OpenApiExample("Waiting again", value=_QUEUED, response_only=True, status_codes=["202"])],
    )
    def post(self, request: Request, farm: uuid.UUID, job: uuid.UUID) -> Response:  # noqa: ARG002
        StrictQuery.of(request)
        return _answer(request, retry_job(self.opened, job))
