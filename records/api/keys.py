"""A person's own keys: made, listed, rotated and taken back by themselves."""

from __future__ import annotations

import uuid
from datetime import timedelta
from typing import Any

from django.db.models import QuerySet
from drf_spectacular.utils import OpenApiExample, extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from records.access import Right
from records.api.preconditions import answer, expected_version, place_of
from records.api.strict import (
    AwareDateTimeField,
    StrictCharField,
    StrictIntegerField,
    StrictQuery,
    StrictSerializer,
    StrictUUIDField,
)
from records.api.views import CallerView
from records.models import ApiKey
from records.services import own_keys

KEY_EXAMPLE = {
    "id": "01991b5e-0000-7000-8000-00000000ce01",
    "prefix": "0a1b2c3d",
    "label": "phone of the pruning crew",
    "app_name": "example field app",
    "scopes": ["read", "record"],
    "farms": ["01991b5e-0000-7000-8000-00000000fa01"],
    "created_at": "2026-11-20T15:04:05Z",
    "expires_at": "2027-11-20T15:04:05Z",
    "revoked_at": None,
    "last_used_at": "2026-11-24T07:58:40Z",
    "former_secret_until": None,
    "made_by": "01991b5e-0000-7000-8000-00000000ce00",
    "version": 1,
}
NEW_EXAMPLE = {
    **KEY_EXAMPLE,
    "last_used_at": None,
    "secret": "vine_0a1b2c3d_thisIsNoSecretButShowsHowOneLooksLike0123456789abcdef",
}
ROTATED_EXAMPLE = {**NEW_EXAMPLE, "former_secret_until": "2026-12-01T15:04:05Z", "version": 2}
REVOKED_EXAMPLE = {**KEY_EXAMPLE, "revoked_at": "2026-11-25T06:00:00Z", "version": 2}
#: A secret is shown once, to whoever asked, and kept by nothing on the way.
_NOT_KEPT = "no-store"


class KeyIn(StrictSerializer):
    """A key to be made."""

    id = StrictUUIDField(required=False, help_text="Made by the client, so that sending again makes no second key.")
    label = StrictCharField(  # type: ignore[assignment]
        max_length=80, help_text="What the key is for, in your words."
    )
    app_name = StrictCharField(
        max_length=80, required=False, help_text="The app that will use it; every record sent with the key names it."
    )
    scopes = serializers.ListField(
        child=serializers.ChoiceField(choices=[(str(right), str(right)) for right in Right]),
        min_length=1,
        max_length=3,
        help_text="What it may do; no more than the key that makes it.",
    )
    farms = serializers.ListField(
        child=StrictUUIDField(),
        required=False,
        max_length=100,
        help_text="The only farms it opens. Left out: all of yours, where the key that makes it opens all.",
    )
    expires_at = AwareDateTimeField(
        required=False,
        help_text="From then on it opens nothing. At most two years ahead, and no later than the key that makes it; "
        "left out: a year.",
    )


class RotationIn(StrictSerializer):
    """How a key changes over to its next secret."""

    overlap_hours = StrictIntegerField(
        min_value=0,
        max_value=168,
        required=False,
        default=168,
        help_text="How long the secret before opens the key beside the new one; 0: it ends at once.",
    )


class KeyOut(serializers.ModelSerializer[ApiKey]):
    """A key, without its secret."""

    farms = serializers.ListField(
        source="farm_ids",
        child=serializers.UUIDField(),
        read_only=True,
        help_text="The only farms it opens; none: all.",
    )
    made_by = serializers.UUIDField(
        source="made_by_id", read_only=True, allow_null=True, help_text="The key by which it was asked for, if any."
    )
    scopes = serializers.ListField(child=serializers.CharField(), read_only=True, help_text="What it may do.")

    class Meta:
        model = ApiKey
        fields = [*KEY_EXAMPLE]


class KeyWithSecretOut(KeyOut):
    """A key with its secret, shown this once."""

    secret = serializers.SerializerMethodField(help_text="The key's text, to be sent as Authorization: Bearer.")

    class Meta(KeyOut.Meta):
        fields = [*NEW_EXAMPLE]

    def get_secret(self, key: ApiKey) -> str:  # noqa: ARG002
        return str(self.context["secret"])


def _with_secret(made: tuple[ApiKey, str], **more: Any) -> Response:
    key, text = made
    response = answer(KeyWithSecretOut(key, context={"secret": text}).data, key, **more)
    response["Cache-Control"] = _NOT_KEPT
    return response


class Keys(CallerView):
    """The caller's keys."""

    keyset = ("-created_at", "-id")
    serializer_class = KeyOut
    answer_is_secret = True

    def get_queryset(self) -> QuerySet[ApiKey]:
        return own_keys.keys_of(self.caller)

    @extend_schema(
        summary="List my keys",
        description="The caller's keys, the newest first, ended ones too; never a secret. A key for certain farms "
        "sees the keys for the same farms.",
        responses=KeyOut(many=True),
        tags=["keys"],
        examples=[OpenApiExample("A field app's key", value=KEY_EXAMPLE, response_only=True)],
    )
    def get(self, request: Request) -> Response:
        StrictQuery.of(request, paged=True)
        page = self.paginate_queryset(self.get_queryset())
        return self.get_paginated_response(self.get_serializer(page, many=True).data)

    @extend_schema(
        summary="Make a key",
        description="For the caller themselves. The secret is in this answer and nowhere else. It takes a key with "
        "the scope manage, and the new one never has more than that: not in scopes, not in farms, not in time. Sent "
        "again with the same id it answers 409, so that a lost answer leaves no second key: rotate that one.",
        request=KeyIn,
        responses={201: KeyWithSecretOut},
        tags=["keys"],
        examples=[
            OpenApiExample(
                "For a field app on one farm",
                value={
                    "label": "phone of the pruning crew",
                    "app_name": "example field app",
                    "scopes": ["read", "record"],
                    "farms": ["01991b5e-0000-7000-8000-00000000fa01"],
                },
                request_only=True,
            ),
            OpenApiExample("The key", value=NEW_EXAMPLE, response_only=True),
        ],
    )
    def post(self, request: Request) -> Response:
        StrictQuery.of(request)
        sent = KeyIn(data=request.data)
        sent.is_valid(raise_exception=True)
        told = dict(sent.validated_data)
        key_id, farms = told.pop("id", None), told.pop("farms", [])
        made = own_keys.make_own_key(self.caller, key_id, own_keys.Wanted(**told, farm_ids=farms))
        return _with_secret(made, created=True, location=place_of(request, "key", key=made[0].pk))


class OneKey(CallerView):
    """One key of the caller's."""

    serializer_class = KeyOut

    @extend_schema(
        summary="Read a key",
        description="One key of the caller's, without its secret; its version as ETag.",
        responses=KeyOut,
        tags=["keys"],
        examples=[OpenApiExample("A field app's key", value=KEY_EXAMPLE, response_only=True)],
    )
    def get(self, request: Request, key: uuid.UUID) -> Response:
        StrictQuery.of(request)
        found = own_keys.key_of(self.caller, key)
        return answer(KeyOut(found).data, found)

    @extend_schema(
        summary="Revoke a key",
        description="It opens nothing from the next request on. Any key may end itself; another one takes the scope "
        "manage. Revoking twice is once.",
        responses={200: KeyOut},
        tags=["keys"],
        examples=[OpenApiExample("Revoked", value=REVOKED_EXAMPLE, response_only=True)],
    )
    def delete(self, request: Request, key: uuid.UUID) -> Response:
        StrictQuery.of(request)
        revoked = own_keys.revoke_own_key(self.caller, key, version=expected_version(request))
        return answer(KeyOut(revoked).data, revoked)


class KeyRotation(CallerView):
    """The change of a key's secret."""

    serializer_class = KeyOut
    takes_if_match = True
    answer_is_secret = True

    @extend_schema(
        summary="Rotate a key",
        description="Gives the key another secret at once, shown in this answer alone; scopes, farms and end stay. "
        "The secret before opens the key for as long as overlap_hours says, at most seven days, and "
        "former_secret_until says until when. If this answer is lost, rotate again by the secret you have: it is "
        "kept, and the one that nobody received ends. Any key may rotate itself; another one takes a key with the "
        "scope manage that has as much.",
        request=RotationIn,
        responses={200: KeyWithSecretOut},
        tags=["keys"],
        examples=[
            OpenApiExample("A day to change over", value={"overlap_hours": 24}, request_only=True),
            OpenApiExample("The key", value=ROTATED_EXAMPLE, response_only=True),
        ],
    )
    def post(self, request: Request, key: uuid.UUID) -> Response:
        StrictQuery.of(request)
        version = expected_version(request)
        sent = RotationIn(data=request.data)
        sent.is_valid(raise_exception=True)
        overlap = timedelta(hours=sent.validated_data["overlap_hours"])
        return _with_secret(own_keys.rotate_own_key(self.caller, key, overlap=overlap, version=version))
