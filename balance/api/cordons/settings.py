"""What a farm set for its cordons, over the API."""

from __future__ import annotations

import uuid
from typing import Any, Final

from django.db.models import QuerySet
from drf_spectacular.utils import OpenApiExample, extend_schema, extend_schema_field
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from balance.cordons.models import CordonSettings
from balance.cordons.settings import change_settings, set_for, settings_of
from balance.formulas.cordons.reminders import TASKS
from records.access import Right
from records.api.fields import LengthIn, LengthOut, quantity_of
from records.api.preconditions import answer, expected_version, place_of
from records.api.strict import StrictDecimalField, StrictIntegerField, StrictQuery, StrictSerializer, StrictUUIDField
from records.api.views import FarmView

SETTINGS_EXAMPLE: Final[dict[str, Any]] = {
    "id": "01991b5e-0000-7000-8000-000000005e77",
    "block": None,
    "blank_share_percent": 40,
    "blank_length": {"value": 3, "unit": "[ft_i]", "m": 0.9144},
    "dieback_length": None,
    "fewest_living_positions": 4,
    "years_in_decline": 2,
    "minutes_a_task": {"lay_down": 12, "unwrap": 6},
    "version": 1,
    "received_at": "2026-11-20T15:04:05Z",
    "changed_at": "2026-11-20T15:04:05Z",
}
_NEW: Final = {
    "blank_share_percent": 40,
    "blank_length": {"value": 3, "unit": "[ft_i]"},
    "fewest_living_positions": 4,
    "years_in_decline": 2,
    "minutes_a_task": {"lay_down": 12, "unwrap": 6},
}
RIGHTS: Final = {"GET": Right.READ, "HEAD": Right.READ, "POST": Right.MANAGE, "PATCH": Right.MANAGE}


def _minutes() -> StrictDecimalField:
    return StrictDecimalField(max_digits=6, decimal_places=1, min_value=0, max_value=10_000, required=False)


class MinutesIn(StrictSerializer):
    """Minutes for one cordon or one whole vine, by task; what is left out was not said."""

    decide = _minutes()
    look_for_candidate = _minutes()
    lay_down = _minutes()
    unwrap = _minutes()
    check_ties = _minutes()
    fewer_nodes = _minutes()
    remove_old_arm = _minutes()


class SettingsChange(StrictSerializer):
    """From when on a cordon is proposed for replacement; null proposes nothing: no source prints a number."""

    blank_share_percent = StrictDecimalField(
        max_digits=5,
        decimal_places=2,
        min_value=1,
        max_value=100,
        required=False,
        allow_null=True,
        help_text="Spur positions that are blank, of all [%].",
    )
    blank_length = LengthIn(required=False, allow_null=True, help_text="Cordon without living positions, 0 to 100 m.")
    dieback_length = LengthIn(required=False, allow_null=True, help_text="Dead from its end, 0 to 100 m.")
    fewest_living_positions = StrictIntegerField(
        min_value=1, max_value=500, required=False, allow_null=True, help_text="Fewer than these propose it."
    )
    years_in_decline = StrictIntegerField(
        min_value=1,
        max_value=20,
        required=False,
        allow_null=True,
        help_text="Seasons one after the other in which fewer positions lived.",
    )
    minutes_a_task = MinutesIn(required=False, help_text="How long each task takes on one cordon or whole vine [min].")

    def validate_minutes_a_task(self, minutes: dict[str, Any]) -> dict[str, float]:
        return {task: float(value) for task, value in minutes.items()}


class SettingsIn(SettingsChange):
    """Settings for a block, or for all blocks that have none."""

    id = StrictUUIDField(required=False, help_text="Made by the client, so that sending again is safe.")
    block = StrictUUIDField(required=False, allow_null=True, help_text="Left out: for the whole farm.")

    def validate(self, attrs: dict[str, Any]) -> dict[str, Any]:
        if not attrs.keys() - {"id", "block"}:
            raise serializers.ValidationError(
                "Set at least one threshold, or the minutes of a task.", code="nothing_set"
            )
        return attrs


class SettingsOut(serializers.ModelSerializer[CordonSettings]):
    """What the farm set for its cordons."""

    block = serializers.UUIDField(source="block_id", allow_null=True, help_text="Null: the whole farm.")
    blank_share_percent = serializers.FloatField(allow_null=True, help_text="[%]")
    blank_length = serializers.SerializerMethodField()
    dieback_length = serializers.SerializerMethodField()
    minutes_a_task = serializers.SerializerMethodField(help_text="[min], by task; a task left out was not said.")

    class Meta:
        model = CordonSettings
        fields = [*SETTINGS_EXAMPLE]

    @extend_schema_field(LengthOut(allow_null=True))
    def get_blank_length(self, row: CordonSettings) -> dict[str, Any] | None:
        return quantity_of(row, "blank_length", "length")

    @extend_schema_field(LengthOut(allow_null=True))
    def get_dieback_length(self, row: CordonSettings) -> dict[str, Any] | None:
        return quantity_of(row, "dieback_length", "length")

    @extend_schema_field(
        {"type": "object", "properties": {task: {"type": "number"} for task in TASKS}, "additionalProperties": False}
    )
    def get_minutes_a_task(self, row: CordonSettings) -> dict[str, float]:
        return dict(row.minutes_a_task)


class AllSettings(FarmView):
    """The settings of a farm."""

    rights = RIGHTS
    keyset = ("received_at", "id")
    serializer_class = SettingsOut

    def get_queryset(self) -> QuerySet[CordonSettings]:
        return CordonSettings.objects.for_farm(self.opened.farm)

    @extend_schema(
        summary="List what is set for cordons",
        description="For the farm, and for blocks that differ from it.",
        responses=SettingsOut(many=True),
        tags=["cordons"],
        examples=[OpenApiExample("Of the farm", value=SETTINGS_EXAMPLE, response_only=True)],
    )
    def get(self, request: Request, farm: uuid.UUID) -> Response:  # noqa: ARG002
        StrictQuery.of(request, paged=True)
        page = self.paginate_queryset(self.get_queryset())
        return self.get_paginated_response(self.get_serializer(page, many=True).data)

    @extend_schema(
        summary="Set what holds for cordons",
        description="From when on a cordon is proposed for replacement, and how long tasks take. The farm decides: "
        "no source prints a share of blank cordon at which to act, and what is not set proposes nothing.",
        request=SettingsIn,
        responses={200: SettingsOut, 201: SettingsOut},
        tags=["cordons"],
        examples=[
            OpenApiExample("For the farm", value=_NEW, request_only=True),
            OpenApiExample("As they stand", value=SETTINGS_EXAMPLE, response_only=True),
        ],
    )
    def post(self, request: Request, farm: uuid.UUID) -> Response:
        StrictQuery.of(request)
        sent = SettingsIn(data=request.data)
        sent.is_valid(raise_exception=True)
        told = dict(sent.validated_data)
        stored = set_for(self.opened, told.pop("id", None), told.pop("block", None), told)
        location = place_of(request, "cordon-settings", farm=farm, settings=stored.row.pk) if stored.created else None
        return answer(SettingsOut(stored.row).data, stored.row, created=stored.created, location=location)


class OneSettings(FarmView):
    """The settings of a farm or a block."""

    rights = RIGHTS
    serializer_class = SettingsOut

    @extend_schema(
        summary="Read what is set for cordons",
        description="One row: the farm's, or a block's.",
        responses=SettingsOut,
        tags=["cordons"],
        examples=[OpenApiExample("Of the farm", value=SETTINGS_EXAMPLE, response_only=True)],
    )
    def get(self, request: Request, farm: uuid.UUID, settings: uuid.UUID) -> Response:  # noqa: ARG002
        StrictQuery.of(request)
        found = settings_of(self.opened, settings)
        return answer(SettingsOut(found).data, found)

    @extend_schema(
        summary="Change what is set for cordons",
        description="What is left out stays as it is; null takes a threshold away.",
        request=SettingsChange,
        responses={200: SettingsOut},
        tags=["cordons"],
        examples=[
            OpenApiExample("Another share", value={"blank_share_percent": 50}, request_only=True),
            OpenApiExample(
                "As they stand",
                value={**SETTINGS_EXAMPLE, "blank_share_percent": 50, "version": 2},
                response_only=True,
            ),
        ],
    )
    def patch(self, request: Request, farm: uuid.UUID, settings: uuid.UUID) -> Response:  # noqa: ARG002
        StrictQuery.of(request)
        sent = SettingsChange(data=request.data)
        sent.is_valid(raise_exception=True)
        found = change_settings(self.opened, settings, sent.validated_data, version=expected_version(request))
        return answer(SettingsOut(found).data, found)
