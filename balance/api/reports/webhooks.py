"""Receivers of webhooks: what is announced of a farm, and to where."""

from __future__ import annotations

import uuid
from typing import Any, Final

from django.db.models import QuerySet
from drf_spectacular.utils import OpenApiExample, extend_schema
from rest_framework import serializers, status
from rest_framework.request import Request
from rest_framework.response import Response

from balance.models import WebhookEndpoint
from balance.reports.models import MOST_ENDPOINTS, Event
from balance.reports.webhooks.endpoints import (
    change_endpoint,
    endpoint_of,
    endpoints_of,
    make_endpoint,
    remove_endpoint,
)
from records.api.preconditions import answer, expected_version, place_of
from records.api.strict import StrictBooleanField, StrictCharField, StrictQuery, StrictSerializer
from records.api.views import MANAGE_ONLY, FarmView

_LONGEST_URL: Final = 2_000
ENDPOINT_EXAMPLE: Final[dict[str, Any]] = {
    "id": "01991b5e-0000-7000-8000-00000000eb01",
    "url": "https://receiver.harrow-vale.example/vineyard",
    "events": ["report.failed", "report.ready"],
    "made_by": "01991b5e-0000-7000-8000-0000000000a1",
    "former_secret_until": None,
    "failing_since": None,
    "disabled_at": None,
    "disabled_because": "",
    "version": 1,
    "received_at": "2026-11-20T15:04:05Z",
    "changed_at": "2026-11-20T15:04:05Z",
}
NEW_ENDPOINT_EXAMPLE: Final = {**ENDPOINT_EXAMPLE, "secret": "whsec_dGhpc0lzTm9TZWNyZXRCdXRTaG93c0hvd09uZUxvb2tz"}
_SWITCHED_ON: Final = {**ENDPOINT_EXAMPLE, "secret": None, "version": 2}
_URL_SAYS: Final = (
    "An https:// address on port 443 or 8443 that anybody could reach, without a password and without '#'. Where its "
    "name leads is looked at again whenever a message is sent."
)


_EVENTS_SAY: Final = (
    "What it is told of. report.ready, report.failed: a report is made, or cannot be. season_summary.changed: records "
    "that the summaries of these seasons rest on changed; at most one message in five minutes, with every season of "
    "which that is so since the last. worklist.due: a winter or summer has begun on the farm, and its cases of cordons "
    "ask for work in it; once. There may be more in later versions."
)


def _events(**how: Any) -> serializers.ListField:
    return serializers.ListField(
        child=serializers.ChoiceField(choices=Event.choices),
        min_length=1,
        max_length=len(Event),
        help_text=_EVENTS_SAY,
        **how,
    )


class WebhookEndpointIn(StrictSerializer):
    """A receiver to be told of events."""

    url = StrictCharField(max_length=_LONGEST_URL, help_text=_URL_SAYS)
    events = _events()


class WebhookEndpointChange(StrictSerializer):
    """What is to be changed of a receiver."""

    url = StrictCharField(max_length=_LONGEST_URL, required=False, help_text=_URL_SAYS)
    events = _events(required=False)
    enabled = StrictBooleanField(
        required=False, help_text="False: send nothing, and give up what waits; true: send from now on."
    )
    new_secret = StrictBooleanField(
        required=False,
        help_text="True: give it another secret, shown in this answer alone. For a day messages are signed by the "
        "former one, too, unless it is replaced again.",
    )


class WebhookEndpointOut(serializers.ModelSerializer[WebhookEndpoint]):
    """A receiver, without its secret."""

    events = serializers.ListField(child=serializers.CharField(), read_only=True, help_text=_EVENTS_SAY)
    made_by = serializers.UUIDField(
        source="made_by_id", read_only=True, help_text="Who made it; once they may not manage the farm, it ends."
    )

    former_secret_until = serializers.DateTimeField(
        read_only=True, allow_null=True, help_text="Until then messages are signed by the former secret, too."
    )

    class Meta:
        model = WebhookEndpoint
        fields = [*ENDPOINT_EXAMPLE]


class WebhookEndpointWithSecretOut(WebhookEndpointOut):
    """A receiver with its secret where that is new, shown this once."""

    secret = serializers.SerializerMethodField(
        help_text="By which the receiver verifies webhook-signature (Standard Webhooks); null where it was not changed."
    )

    class Meta(WebhookEndpointOut.Meta):
        fields = [*NEW_ENDPOINT_EXAMPLE]

    def get_secret(self, endpoint: WebhookEndpoint) -> str | None:
        return endpoint.secret if self.context["is_new"] else None


def _with_secret(endpoint: WebhookEndpoint, *, is_new: bool = True, **more: Any) -> Response:
    shown = WebhookEndpointWithSecretOut(endpoint, context={"is_new": is_new})
    response = answer(shown.data, endpoint, **more)
    response["Cache-Control"] = "no-store"
    return response


class WebhookEndpoints(FarmView):
    """The receivers of a farm."""

    rights = MANAGE_ONLY
    keyset = ("received_at", "id")
    serializer_class = WebhookEndpointOut
    answer_is_secret = True

    def get_queryset(self) -> QuerySet[WebhookEndpoint]:
        return endpoints_of(self.opened)

    @extend_schema(
        summary="List receivers of webhooks",
        description="In the order in which they were made; never a secret.",
        responses=WebhookEndpointOut(many=True),
        tags=["reports"],
        examples=[OpenApiExample("A receiver", value=ENDPOINT_EXAMPLE, response_only=True)],
    )
    def get(self, request: Request, farm: uuid.UUID) -> Response:  # noqa: ARG002
        StrictQuery.of(request, paged=True)
        page = self.paginate_queryset(self.get_queryset())
        return self.get_paginated_response(self.get_serializer(page, many=True).data)

    @extend_schema(
        summary="Add a receiver of webhooks",
        description="Messages follow Standard Webhooks 1.0: webhook-id is the same at every try of one message, "
        "webhook-signature is verified by the secret, which is in this answer and nowhere else; for a day after a new "
        "one was asked for, the header holds two signatures, by either secret. They say what happened "
        "and where to read it, and no figures. An answer of 2xx within 15 seconds takes a message; another one, a "
        "redirect too, lets it be sent again for three days; 410, or five days of failures, switch the receiver off. "
        f"At most {MOST_ENDPOINTS} a farm.",
        request=WebhookEndpointIn,
        responses={201: WebhookEndpointWithSecretOut},
        tags=["reports"],
        examples=[
            OpenApiExample(
                "For both events of reports",
                value={name: ENDPOINT_EXAMPLE[name] for name in ("url", "events")},
                request_only=True,
            ),
            OpenApiExample("Added", value=NEW_ENDPOINT_EXAMPLE, response_only=True, status_codes=["201"]),
        ],
    )
    def post(self, request: Request, farm: uuid.UUID) -> Response:
        StrictQuery.of(request)
        sent = WebhookEndpointIn(data=request.data)
        sent.is_valid(raise_exception=True)
        made = make_endpoint(self.opened, sent.validated_data["url"], sent.validated_data["events"])
        location = place_of(request, "webhook-endpoint", farm=farm, endpoint=made.pk)
        return _with_secret(made, created=True, location=location)


class OneWebhookEndpoint(FarmView):
    """One receiver."""

    rights = MANAGE_ONLY
    serializer_class = WebhookEndpointOut
    answer_is_secret = True

    @extend_schema(
        summary="Read a receiver of webhooks",
        description="One receiver, without its secret; its version as ETag.",
        responses=WebhookEndpointOut,
        tags=["reports"],
        examples=[OpenApiExample("A receiver", value=ENDPOINT_EXAMPLE, response_only=True)],
    )
    def get(self, request: Request, farm: uuid.UUID, endpoint: uuid.UUID) -> Response:  # noqa: ARG002
        StrictQuery.of(request)
        found = endpoint_of(self.opened, endpoint)
        return answer(WebhookEndpointOut(found).data, found)

    @extend_schema(
        summary="Change a receiver of webhooks",
        description="Its address, what it is told of, whether it is told at all, or its secret.",
        request=WebhookEndpointChange,
        responses={200: WebhookEndpointWithSecretOut},
        tags=["reports"],
        examples=[
            OpenApiExample("Give it another secret", value={"new_secret": True}, request_only=True),
            OpenApiExample("Switch it on again", value={"enabled": True}, request_only=True),
            OpenApiExample("Switched on", value=_SWITCHED_ON, response_only=True),
        ],
    )
    def patch(self, request: Request, farm: uuid.UUID, endpoint: uuid.UUID) -> Response:  # noqa: ARG002
        StrictQuery.of(request)
        version = expected_version(request)
        sent = WebhookEndpointChange(data=request.data)
        sent.is_valid(raise_exception=True)
        changed = change_endpoint(self.opened, endpoint, sent.validated_data, version=version)
        return _with_secret(changed, is_new=bool(sent.validated_data.get("new_secret")))

    @extend_schema(
        summary="Remove a receiver of webhooks",
        description="Nothing is sent to it any more, and its secrets are forgotten.",
        responses={204: None},
        tags=["reports"],
    )
    def delete(self, request: Request, farm: uuid.UUID, endpoint: uuid.UUID) -> Response:  # noqa: ARG002
        StrictQuery.of(request)
        remove_endpoint(self.opened, endpoint, version=expected_version(request))
        return Response(status=status.HTTP_204_NO_CONTENT)
