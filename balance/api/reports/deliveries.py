"""Messages to receivers of webhooks: what was sent, how it went, and sending one again."""

from __future__ import annotations

import math
import uuid
from datetime import timedelta
from typing import Any, Final

from django.db.models import QuerySet
from django.utils import timezone
from drf_spectacular.utils import OpenApiExample, extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from balance.models import WebhookDelivery
from balance.reports.webhooks.endpoints import deliveries_of, endpoint_of, send_again, send_test
from records.access import Right
from records.api.preconditions import accepted, place_of
from records.api.strict import StrictQuery
from records.api.views import MANAGE_ONLY, FarmView

DELIVERY_EXAMPLE: Final[dict[str, Any]] = {
    "id": "01991b5e-0000-7000-8000-00000000de11",
    "message": {
        "type": "report.ready",
        "timestamp": "2026-11-20T15:04:06Z",
        "data": {
            "farm": "01991b5e-0000-7000-8000-00000000fa01",
            "report": "01991b5e-0000-7000-8000-00000000e9a1",
            "season": 2026,
            "state": "succeeded",
        },
    },
    "state": "waiting",
    "attempts": 1,
    "next_attempt_at": "2026-11-20T15:04:12Z",
    "last_status": 500,
    "last_failure": "It answered 500.",
    "delivered_at": None,
    "received_at": "2026-11-20T15:04:06Z",
}
_QUEUED: Final = {
    **DELIVERY_EXAMPLE, "attempts": 0, "next_attempt_at": "2026-11-20T15:04:06Z", "last_status": None,
    "last_failure": "",
}  # fmt: skip
#: One request here sends one elsewhere, to where somebody else has to answer it: it counts as a hundred.
_COST: Final = 99


class MessageDataOut(serializers.Serializer[dict[str, Any]]):
    """Where to read what a message is about; a test is about the farm alone."""

    farm = serializers.UUIDField()
    report = serializers.UUIDField(required=False)
    season = serializers.IntegerField(required=False, help_text="Harvest year, of a report or a worklist.")
    seasons = serializers.ListField(
        child=serializers.IntegerField(), required=False, help_text="Harvest years whose summaries changed."
    )
    part_of_year = serializers.CharField(required=False, help_text="Of the worklist that is due: winter or summer.")
    state = serializers.CharField(required=False, help_text="Of the report: succeeded or failed.")


class MessageOut(serializers.Serializer[dict[str, Any]]):
    """A message as it is sent."""

    type = serializers.CharField(help_text="One of the events that a receiver is told of, or test.")
    timestamp = serializers.DateTimeField(help_text="When it happened.")
    data = MessageDataOut()  # type: ignore[assignment] # a member of the standard; DRF takes fields off the class


class WebhookDeliveryOut(serializers.ModelSerializer[WebhookDelivery]):
    """One message to one receiver; its id is the webhook-id of every try."""

    message = MessageOut(source="payload", read_only=True)

    class Meta:
        model = WebhookDelivery
        fields = [*DELIVERY_EXAMPLE]


class WebhookDeliveries(FarmView):
    """The messages to a receiver."""

    rights = dict.fromkeys(("GET", "HEAD"), Right.MANAGE)
    keyset = ("-received_at", "-id")
    serializer_class = WebhookDeliveryOut

    def get_queryset(self) -> QuerySet[WebhookDelivery]:
        return deliveries_of(self.opened, self.kwargs["endpoint"])

    @extend_schema(
        summary="List messages to a receiver",
        description="The newest first, tests too. A message that waits says when it is sent next; of an answer its "
        "status alone is kept.",
        responses=WebhookDeliveryOut(many=True),
        tags=["reports"],
        examples=[OpenApiExample("Not taken yet", value=DELIVERY_EXAMPLE, response_only=True)],
    )
    def get(self, request: Request, farm: uuid.UUID, endpoint: uuid.UUID) -> Response:  # noqa: ARG002
        StrictQuery.of(request, paged=True)
        page = self.paginate_queryset(self.get_queryset())
        return self.get_paginated_response(self.get_serializer(page, many=True).data)


def _accepted(view: FarmView, request: Request, message: WebhookDelivery) -> Response:
    """Answer 202: how it goes stands in the list of messages, and is worth a look once it was tried."""
    place = place_of(request, "webhook-deliveries", farm=message.farm_id, endpoint=message.endpoint_id)
    waits = message.next_attempt_at - timezone.now() if message.next_attempt_at else timedelta()
    seconds = max(0, math.ceil(waits.total_seconds())) + 1
    return accepted(view.get_serializer(message).data, place, seconds=seconds)


class WebhookTest(FarmView):
    """A message that tells of nothing."""

    rights = MANAGE_ONLY
    http_method_names = ["post"]
    serializer_class = WebhookDeliveryOut

    @extend_schema(
        summary="Send a test message to a receiver",
        description="Of the type test, signed as all are, and sent once; see how it went in the list of messages. "
        "409 where the receiver is switched off.",
        request=None,
        responses={202: WebhookDeliveryOut},
        tags=["reports"],
        examples=[OpenApiExample("Queued", value=_QUEUED, response_only=True, status_codes=["202"])],
    )
    def post(self, request: Request, farm: uuid.UUID, endpoint: uuid.UUID) -> Response:  # noqa: ARG002
        StrictQuery.of(request)
        endpoint_of(self.opened, endpoint)  # what is not there costs no more than any request
        self.spend(_COST)
        queued = send_test(self.opened, endpoint)
        return _accepted(self, request, queued)


class WebhookRedelivery(FarmView):
    """Another sending of a message."""

    rights = MANAGE_ONLY
    http_method_names = ["post"]
    serializer_class = WebhookDeliveryOut

    @extend_schema(
        summary="Send a message again",
        description="Under the same id, by which the receiver knows it. One that waits for its next try is left to it. "
        "409 where the receiver is switched off.",
        request=None,
        responses={202: WebhookDeliveryOut},
        tags=["reports"],
        examples=[OpenApiExample("Queued", value=_QUEUED, response_only=True, status_codes=["202"])],
    )
    def post(self, request: Request, farm: uuid.UUID, endpoint: uuid.UUID, delivery: uuid.UUID) -> Response:  # noqa: ARG002
        StrictQuery.of(request)
        endpoint_of(self.opened, endpoint)
        self.spend(_COST)
        queued = send_again(self.opened, endpoint, delivery)
        return _accepted(self, request, queued)
