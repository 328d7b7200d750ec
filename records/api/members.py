"""The people of a farm: who they are on it."""

from __future__ import annotations

import uuid

from django.db.models import QuerySet
from drf_spectacular.utils import OpenApiExample, extend_schema
from rest_framework import serializers, status
from rest_framework.request import Request
from rest_framework.response import Response

from records.api.preconditions import answer, expected_version, place_of
from records.api.strict import StrictCharField, StrictEmailField, StrictQuery, StrictSerializer
from records.api.views import MANAGE_ONLY, FarmView
from records.models import Membership, Role
from records.services import members

MEMBER_EXAMPLE = {
    "id": "01991b5e-0000-7000-8000-00000000e0b1",
    "email": "tomas.reed@tern-hill.example",
    "name": "Tomas Reed (invented)",
    "role": "worker",
    "version": 1,
    "received_at": "2026-11-20T15:04:05Z",
    "changed_at": "2026-11-20T15:04:05Z",
}
_ROLE_HELP = "owner: everything; worker: reads and records; viewer: reads."


class MemberChange(StrictSerializer):
    """What may be changed of a person's part in the farm."""

    name = StrictCharField(max_length=120, required=False, help_text="How the farm calls them.")
    role = serializers.ChoiceField(choices=Role.choices, required=False, help_text=_ROLE_HELP)


class MemberIn(StrictSerializer):
    """A person who joins the farm."""

    email = StrictEmailField(max_length=254, help_text="By which the service knows them.")
    name = StrictCharField(max_length=120, help_text="How the farm calls them.")
    role = serializers.ChoiceField(choices=Role.choices, help_text=_ROLE_HELP)


class MemberOut(serializers.ModelSerializer[Membership]):
    """A person of the farm."""

    email = serializers.EmailField(source="person.email", read_only=True)
    name = serializers.SerializerMethodField(help_text="How the farm calls them.")

    class Meta:
        model = Membership
        fields = [*MEMBER_EXAMPLE]

    def get_name(self, member: Membership) -> str:
        return member.name or member.person.name


class Members(FarmView):
    """The people of a farm."""

    rights = MANAGE_ONLY
    keyset = ("received_at", "id")
    serializer_class = MemberOut

    def get_queryset(self) -> QuerySet[Membership]:
        found: QuerySet[Membership] = members.members_of(self.opened)
        return found

    @extend_schema(
        summary="List the people of a farm",
        description="Owners, workers and viewers, in the order in which they joined. For the farm's owners. Advisers "
        "and programs come in by consent and stand among the consents.",
        responses=MemberOut(many=True),
        tags=["farms"],
        examples=[OpenApiExample("A worker", value=MEMBER_EXAMPLE, response_only=True)],
    )
    def get(self, request: Request, farm: uuid.UUID) -> Response:  # noqa: ARG002
        StrictQuery.of(request, paged=True)
        page = self.paginate_queryset(self.get_queryset())
        return self.get_paginated_response(self.get_serializer(page, many=True).data)

    @extend_schema(
        summary="Add a person to a farm",
        description="Gives the person behind an e-mail address a role on the farm, from their next request on. "
        "Whether the service knew the address before is told to nobody; somebody new can call once they have a key. "
        "Sent again, it changes nothing and answers 200.",
        request=MemberIn,
        responses={200: MemberOut, 201: MemberOut},
        tags=["farms"],
        examples=[
            OpenApiExample(
                "A worker joins",
                value={
                    "email": "tomas.reed@tern-hill.example",
                    "name": "Tomas Reed (invented)",
                    "role": "worker",
                },
                request_only=True,
            ),
            OpenApiExample("The worker", value=MEMBER_EXAMPLE, response_only=True),
        ],
    )
    def post(self, request: Request, farm: uuid.UUID) -> Response:
        StrictQuery.of(request)
        sent = MemberIn(data=request.data)
        sent.is_valid(raise_exception=True)
        stored = members.add_member(self.opened, **sent.validated_data)
        location = place_of(request, "member", farm=farm, member=stored.row.pk) if stored.created else None
        return answer(MemberOut(stored.row).data, stored.row, created=stored.created, location=location)


class OneMember(FarmView):
    """One person of a farm."""

    rights = MANAGE_ONLY
    serializer_class = MemberOut

    @extend_schema(
        summary="Read a person's part in a farm",
        description="One of the farm's people, with the version as ETag.",
        responses=MemberOut,
        tags=["farms"],
        examples=[OpenApiExample("The worker", value=MEMBER_EXAMPLE, response_only=True)],
    )
    def get(self, request: Request, farm: uuid.UUID, member: uuid.UUID) -> Response:  # noqa: ARG002
        StrictQuery.of(request)
        found = members.member_of(self.opened, member)
        return answer(MemberOut(found).data, found)

    @extend_schema(
        summary="Change a person's role",
        description="Works from their next request on. The last owner of a farm stays its owner.",
        request=MemberChange,
        responses=MemberOut,
        tags=["farms"],
        examples=[
            OpenApiExample("Let them only look", value={"role": "viewer"}, request_only=True),
            OpenApiExample("The viewer", value={**MEMBER_EXAMPLE, "role": "viewer", "version": 2}, response_only=True),
        ],
    )
    def patch(self, request: Request, farm: uuid.UUID, member: uuid.UUID) -> Response:  # noqa: ARG002
        StrictQuery.of(request)
        version = expected_version(request)
        sent = MemberChange(data=request.data)
        sent.is_valid(raise_exception=True)
        changed = members.change_member(self.opened, member, sent.validated_data, version=version)
        return answer(MemberOut(changed).data, changed)

    @extend_schema(
        summary="Remove a person from a farm",
        description="From their next request on the farm is to them as if there were none, and jobs that they asked "
        "for end. What they recorded stays. The last owner of a farm cannot be removed.",
        responses={204: None},
        tags=["farms"],
    )
    def delete(self, request: Request, farm: uuid.UUID, member: uuid.UUID) -> Response:  # noqa: ARG002
        StrictQuery.of(request)
        members.remove_member(self.opened, member, version=expected_version(request))
        return Response(status=status.HTTP_204_NO_CONTENT)
