"""Links to a file of a report: made with a key, opened without one."""

from __future__ import annotations

import uuid
from datetime import timedelta
from typing import Any, Final

from django.http import HttpResponse
from django.urls import reverse
from drf_spectacular.utils import OpenApiExample, OpenApiParameter, extend_schema
from rest_framework import serializers, status
from rest_framework.generics import GenericAPIView
from rest_framework.permissions import AllowAny
from rest_framework.request import Request
from rest_framework.response import Response

from balance.api.reports.reports import FILES_OF_A_REPORT, RENDERERS_OF_FILES, file_answer
from balance.reports.asking import file_of
from balance.reports.links import LONGEST, link_of, make_link, open_link
from balance.reports.models import Form
from records.access import Right
from records.api.preconditions import place_of
from records.api.strict import StrictIntegerField, StrictQuery, StrictSerializer
from records.api.views import FarmView
from records.api.visiting import note_visits

_LONGEST_TOKEN: Final = 300
_TOKEN: Final[dict[str, Any]] = {"type": "string", "maxLength": _LONGEST_TOKEN, "pattern": r"^[A-Za-z0-9_.\-]+$"}
_MOST_MINUTES: Final = int(LONGEST.total_seconds()) // 60
LINK_EXAMPLE: Final = {
    "url": "http://localhost:8000/api/v1/report-links/thisIsNoToken.1vNvQz.butShowsHowOneLooksLike",
    "expires_at": "2026-11-20T16:04:05Z",
}


class ReportLinkIn(StrictSerializer):
    """A link to be made."""

    form = serializers.ChoiceField(choices=Form.choices, help_text="Which form of the report it opens.")
    valid_for_minutes = StrictIntegerField(
        min_value=1, max_value=_MOST_MINUTES, required=False, default=60, help_text="How long it opens; at most 7 days."
    )


class ReportLinkOut(serializers.Serializer[dict[str, Any]]):
    """A link, shown this once; whoever holds it can fetch the file."""

    url = serializers.URLField(help_text="Where the file is fetched, without a key.")
    expires_at = serializers.DateTimeField(help_text="From then on it opens nothing.")


class ReportLinks(FarmView):
    """Links to a report."""

    rights = dict.fromkeys(("POST",), Right.READ)
    http_method_names = ["post"]
    serializer_class = ReportLinkOut
    answer_is_secret = True

    @extend_schema(
        summary="Make a link to a file of a season report",
        description="For whoever has no key, such as a browser or a print shop. It opens this one form of this one "
        "report, until it expires, and only as long as you and the key that made it may read the farm. It is kept "
        "nowhere and cannot be shown again; a key that is revoked ends its links with it.",
        request=ReportLinkIn,
        responses={201: ReportLinkOut},
        tags=["reports"],
        examples=[
            OpenApiExample("For a day", value={"form": "json", "valid_for_minutes": 1_440}, request_only=True),
            OpenApiExample("A link", value=LINK_EXAMPLE, response_only=True, status_codes=["201"]),
        ],
    )
    def post(self, request: Request, farm: uuid.UUID, report: uuid.UUID) -> Response:  # noqa: ARG002
        StrictQuery.of(request)
        sent = ReportLinkIn(data=request.data)
        sent.is_valid(raise_exception=True)
        valid_for = timedelta(minutes=sent.validated_data["valid_for_minutes"])
        token, expires_at = make_link(self.opened, report, sent.validated_data["form"], valid_for)
        made = {"url": place_of(request, "report-link", token=token), "expires_at": expires_at}
        return Response(ReportLinkOut(made).data, status=status.HTTP_201_CREATED, headers={"Cache-Control": "no-store"})


class ReportLink(GenericAPIView[Any]):
    """What a link opens; it counts against the address that asks, as everything does that sends no key."""

    http_method_names = ["get", "head"]
    authentication_classes = []
    permission_classes = [AllowAny]
    renderer_classes = RENDERERS_OF_FILES

    @extend_schema(
        summary="Fetch a file of a season report by a link",
        description="Without a key. As an attachment that no cache keeps. 404 for what is no link, or no longer opens "
        "anything; 410 once it has expired; 409 until the report is made. An adviser's link stands in the grower's "
        "access log each time it is used.",
        parameters=[OpenApiParameter("token", _TOKEN, OpenApiParameter.PATH, description="The link's own part.")],
        responses=FILES_OF_A_REPORT,
        tags=["reports"],
    )
    def get(self, request: Request, token: str) -> HttpResponse:
        StrictQuery.of(request)
        link = link_of(token)
        opened = open_link(link, getattr(request, "request_id", ""))
        read = reverse("report-file", kwargs={"farm": link.farm, "report": link.report, "form": link.form})
        note_visits(request, opened.caller, [(opened.farm, opened.part)], path=f"{read} by a link")
        return file_answer(file_of(opened, link.report, link.form))
