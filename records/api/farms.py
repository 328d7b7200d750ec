"""Farms and the caller: who am I, what is mine."""

from __future__ import annotations

import uuid
from typing import Any

from drf_spectacular.utils import OpenApiExample, extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from records import access
from records.access import Part
from records.api.fields import FormulaField, FormulaNamed
from records.api.preconditions import answer, expected_version, place_of
from records.api.strict import StrictCharField, StrictQuery, StrictSerializer, StrictUUIDField
from records.api.views import READ_AND_MANAGE, CallerView, FarmView
from records.api.visiting import note_visits
from records.models import Farm
from records.models.farms import Hemisphere
from records.services.farms import change_farm, create_farm

FARM_EXAMPLE = {
    "id": "01991b5e-0000-7000-8000-00000000fa01",
    "name": "Tern Hill Vineyard (invented)",
    "role": "owner",
    "program": None,
    "region": "Harrow Vale (invented)",
    "hemisphere": "north",
    "time_zone": "America/New_York",
    "pruning_formula": "american-30-10-lb@1",
    "version": 1,
    "received_at": "2026-11-20T15:04:05Z",
    "changed_at": "2026-11-20T15:04:05Z",
}


class FarmOut(serializers.ModelSerializer[Farm]):
    """A farm of the caller's."""

    role = serializers.SerializerMethodField(
        help_text="What the caller is on this farm: owner, worker or viewer; adviser or program where a consent lets "
        "them in."
    )
    program = serializers.UUIDField(
        source="program_id", read_only=True, allow_null=True, help_text="The program it takes part in."
    )
    pruning_formula = FormulaNamed(help_text="For blocks that name none of their own.")

    class Meta:
        model = Farm
        fields = [
            "id",
            "name",
            "role",
            "program",
            "region",
            "hemisphere",
            "time_zone",
            "pruning_formula",
            "version",
            "received_at",
            "changed_at",
        ]

    def get_role(self, farm: Farm) -> str:
        return str(self.context["roles"].get(farm.pk, ""))


class FarmChange(StrictSerializer):
    """What may be changed on a farm."""

    name = StrictCharField(max_length=120, help_text="How the farm is called.", required=False)
    region = StrictCharField(max_length=120, required=False, allow_blank=True, help_text="No closer than a district.")
    hemisphere = serializers.ChoiceField(choices=Hemisphere.choices, required=False)
    time_zone = StrictCharField(max_length=60, required=False, help_text="IANA name, e.g. America/New_York.")
    pruning_formula = FormulaField(required=False, allow_null=True, help_text="For blocks that name none of their own.")


class FarmIn(FarmChange):
    """A new farm."""

    id = StrictUUIDField(required=False, help_text="Made by the client, so that sending again is safe.")
    name = StrictCharField(max_length=120, help_text="How the farm is called.")
    hemisphere = serializers.ChoiceField(choices=Hemisphere.choices)
    time_zone = StrictCharField(max_length=60, help_text="IANA name, e.g. America/New_York.")


class MeOut(serializers.Serializer[Any]):
    """The caller, as the service knows them."""

    name = serializers.CharField()
    email = serializers.EmailField()
    scopes = serializers.ListField(child=serializers.CharField(), help_text="What this key may do.")
    app_name = serializers.CharField(help_text="The app that this key belongs to, if any.")
    key_expires_at = serializers.DateTimeField()
    farms = FarmOut(many=True, help_text="The first 100 farms that this key opens; all of them are at /farms.")


class Me(CallerView):
    """The caller."""

    @extend_schema(
        summary="Who am I",
        description="The person and key that call, what the key may do, and the farms that it opens.",
        responses=MeOut,
        tags=["farms"],
        examples=[
            OpenApiExample(
                "A worker's key",
                response_only=True,
                value={
                    "name": "Tomas Reed (invented)",
                    "email": "worker@tern-hill.example",
                    "scopes": ["read", "record"],
                    "app_name": "example field app",
                    "key_expires_at": "2027-11-20T00:00:00Z",
                    "farms": [FARM_EXAMPLE],
                },
            )
        ],
    )
    def get(self, request: Request) -> Response:
        StrictQuery.of(request)
        key = self.caller.key
        parts = access.parts_of(self.caller)
        farms = access.farms_of(self.caller, parts).select_related("pruning_formula").order_by("name", "pk")[:100]
        _note_listed(request, self.caller, list(farms), parts)
        person = self.caller.person
        body = {
            "name": person.name,
            "email": person.email,
            "scopes": sorted(self.caller.scopes),
            "app_name": key.app_name if key else "",
            "key_expires_at": key.expires_at if key else None,
            "farms": farms,
        }
        return Response(MeOut(body, context={"roles": _roles(parts)}).data)


class Farms(CallerView):
    """The caller's farms."""

    keyset = ("name", "id")
    serializer_class = FarmOut

    @extend_schema(
        summary="List my farms",
        description="The farms that the caller has a part in, by name: their own, and those that a consent lets them "
        "onto at this moment.",
        responses=FarmOut(many=True),
        tags=["farms"],
        examples=[OpenApiExample("One farm", value=FARM_EXAMPLE, response_only=True)],
    )
    def get(self, request: Request) -> Response:
        StrictQuery.of(request, paged=True)
        parts = access.parts_of(self.caller)
        page = self.paginate_queryset(access.farms_of(self.caller, parts).select_related("pruning_formula")) or []
        _note_listed(request, self.caller, page, parts)
        return self.get_paginated_response(FarmOut(page, many=True, context={"roles": _roles(parts)}).data)

    @extend_schema(
        summary="Create a farm",
        description="The caller becomes its owner. Sent again with the same id, it changes nothing and answers 200.",
        request=FarmIn,
        responses={200: FarmOut, 201: FarmOut},
        tags=["farms"],
        examples=[
            OpenApiExample(
                "A farm in the north",
                request_only=True,
                value={
                    "name": "Tern Hill Vineyard (invented)",
                    "hemisphere": "north",
                    "time_zone": "America/New_York",
                },
            ),
            OpenApiExample("The farm", value=FARM_EXAMPLE, response_only=True),
        ],
    )
    def post(self, request: Request) -> Response:
        StrictQuery.of(request)
        sent = FarmIn(data=request.data)
        sent.is_valid(raise_exception=True)
        columns = dict(sent.validated_data)
        farm, created = create_farm(self.caller, columns.pop("id", None), columns)
        data = FarmOut(farm, context={"roles": access.roles_of(self.caller)}).data
        return answer(
            data, farm, created=created, location=place_of(request, "farm", farm=farm.pk) if created else None
        )


class OneFarm(FarmView):
    """One farm."""

    rights = READ_AND_MANAGE
    serializer_class = FarmOut

    @extend_schema(
        summary="Read a farm",
        description="One farm of the caller's, with its version as ETag.",
        responses=FarmOut,
        tags=["farms"],
        examples=[OpenApiExample("The farm", value=FARM_EXAMPLE, response_only=True)],
    )
    def get(self, request: Request, farm: uuid.UUID) -> Response:  # noqa: ARG002
        StrictQuery.of(request)
        return self._answer(self.opened.farm)

    @extend_schema(
        summary="Change a farm",
        description="Send the members to change, and the ETag that you read as If-Match.",
        request=FarmChange,
        responses=FarmOut,
        tags=["farms"],
        examples=[
            OpenApiExample("Choose a formula", request_only=True, value={"pruning_formula": "american-30-10-lb"}),
            OpenApiExample("The farm", value=FARM_EXAMPLE, response_only=True),
        ],
    )
    def patch(self, request: Request, farm: uuid.UUID) -> Response:  # noqa: ARG002
        StrictQuery.of(request)
        version = expected_version(request)
        sent = FarmChange(data=request.data, context={"opened": self.opened})
        sent.is_valid(raise_exception=True)
        return self._answer(change_farm(self.opened, sent.validated_data, version=version))

    def _answer(self, farm: Farm) -> Response:
        return answer(FarmOut(farm, context={"roles": {farm.pk: self.opened.role}}).data, farm)


def _note_listed(request: Request, caller: access.Caller, farms: list[Farm], parts: dict[uuid.UUID, Part]) -> None:
    """Note in the log of each farm that a consent lets its name and place be seen in a list."""
    note_visits(request, caller, [(farm, parts[farm.pk]) for farm in farms])


def _roles(parts: dict[uuid.UUID, Part]) -> dict[uuid.UUID, str]:
    return {farm_id: part.role for farm_id, part in parts.items()}
