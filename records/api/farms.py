"""Programs, farms and the caller: who am I, what is mine."""

from __future__ import annotations

import uuid
from typing import Any

from django.db.models import QuerySet
from drf_spectacular.utils import OpenApiExample, extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from records import access
from records.api.fields import FormulaField, FormulaNamed
from records.api.preconditions import answer, expected_version, place_of
from records.api.strict import StrictCharField, StrictQuery, StrictSerializer, StrictUUIDField
from records.api.views import READ_AND_MANAGE, CallerView, FarmView
from records.models import Farm, Program
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


class ProgramOut(serializers.ModelSerializer[Program]):
    """A program that the caller leads or a farm of theirs takes part in."""

    class Meta:
        model = Program
        fields = ["id", "name", "region"]


class FarmOut(serializers.ModelSerializer[Farm]):
    """A farm of the caller's."""

    role = serializers.SerializerMethodField(help_text="What the caller is on this farm.")
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
        farms = access.farms_of(self.caller).select_related("pruning_formula").order_by("name", "pk")[:100]
        person = self.caller.person
        body = {
            "name": person.name,
            "email": person.email,
            "scopes": sorted(self.caller.scopes),
            "app_name": key.app_name if key else "",
            "key_expires_at": key.expires_at if key else None,
            "farms": farms,
        }
        return Response(MeOut(body, context={"roles": access.roles_of(self.caller)}).data)


class Farms(CallerView):
    """The caller's farms."""

    keyset = ("name", "id")
    serializer_class = FarmOut

    def get_queryset(self) -> QuerySet[Farm]:
        return access.farms_of(self.caller).select_related("pruning_formula")

    def get_serializer_context(self) -> dict[str, Any]:
        return {**super().get_serializer_context(), "roles": access.roles_of(self.caller)}

    @extend_schema(
        summary="List my farms",
        description="The farms that the caller has a part in, by name.",
        responses=FarmOut(many=True),
        tags=["farms"],
        examples=[OpenApiExample("One farm", value=FARM_EXAMPLE, response_only=True)],
    )
    def get(self, request: Request) -> Response:
        StrictQuery.of(request, paged=True)
        page = self.paginate_queryset(self.get_queryset())
        return self.get_paginated_response(self.get_serializer(page, many=True).data)

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
        sent = FarmChange(data=request.data)
        sent.is_valid(raise_exception=True)
        return self._answer(change_farm(self.opened, sent.validated_data, version=version))

    def _answer(self, farm: Farm) -> Response:
        return answer(FarmOut(farm, context={"roles": {farm.pk: self.opened.role}}).data, farm)


class Programs(CallerView):
    """The programs that concern the caller."""

    keyset = ("name", "id")
    serializer_class = ProgramOut

    def get_queryset(self) -> QuerySet[Program]:
        return access.programs_of(self.caller)

    @extend_schema(
        summary="List programs",
        description="Programs that the caller leads, or that a farm of theirs takes part in.",
        responses=ProgramOut(many=True),
        tags=["programs"],
        examples=[
            OpenApiExample(
                "A program",
                response_only=True,
                value={
                    "id": "01991b5e-0000-7000-8000-0000000009a1",
                    "name": "Harrow Vale Growers (invented)",
                    "region": "Harrow Vale (invented)",
                },
            )
        ],
    )
    def get(self, request: Request) -> Response:
        StrictQuery.of(request, paged=True)
        page = self.paginate_queryset(self.get_queryset())
        return self.get_paginated_response(self.get_serializer(page, many=True).data)


class OneProgram(CallerView):
    """One program."""

    serializer_class = ProgramOut

    @extend_schema(
        summary="Read a program",
        description="One program that the caller leads, or that a farm of theirs takes part in.",
        responses=ProgramOut,
        tags=["programs"],
        examples=[
            OpenApiExample(
                "A program",
                response_only=True,
                value={
                    "id": "01991b5e-0000-7000-8000-0000000009a1",
                    "name": "Harrow Vale Growers (invented)",
                    "region": "Harrow Vale (invented)",
                },
            )
        ],
    )
    def get(self, request: Request, program: uuid.UUID) -> Response:
        StrictQuery.of(request)
        return Response(ProgramOut(access.open_program(self.caller, program)).data)
