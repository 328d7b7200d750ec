"""Consents seen from the other side, and the access log of the farm that gave them."""

from __future__ import annotations

import uuid
from typing import Any

from django.db.models import QuerySet
from drf_spectacular.utils import OpenApiExample, OpenApiParameter, extend_schema, extend_schema_field
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from records import access
from records.api.strict import StrictQuery, StrictUUIDField
from records.api.views import MANAGE_ONLY, CallerView, FarmView
from records.models import Consent, Visit
from records.services import visits

GIVEN_EXAMPLE = {
    "id": "01991b5e-0000-7000-8000-00000000c0a1",
    "farm": "01991b5e-0000-7000-8000-00000000fa01",
    "purpose": "advice",
    "program": None,
    "rights": ["read", "record"],
    "from": "2026-11-20T15:04:05Z",
    "until": "2027-04-01T04:00:00Z",
    "withdrawn_at": None,
    "text_version": "advice@1",
    "received_at": "2026-11-20T15:04:05Z",
}
VISIT_EXAMPLE = {
    "id": "01991b5e-0000-7000-8000-00000000ac01",
    "visited_at": "2026-11-21T08:12:09Z",
    "visitor": {"email": "mira.osei@harrow-vale.example", "name": "Mira Osei (invented)"},
    "consent": "01991b5e-0000-7000-8000-00000000c0a1",
    "purpose": "advice",
    "program": None,
    "method": "GET",
    "path": "/api/v1/farms/01991b5e-0000-7000-8000-00000000fa01/blocks",
    "request_id": "01991b5e-0000-7000-8000-00000000f00d",
}


class ConsentGivenOut(serializers.ModelSerializer[Consent]):
    """A consent that names the caller, or a program that they lead."""

    farm = serializers.UUIDField(source="farm_id", read_only=True, help_text="Whose owner gave it.")
    program = serializers.UUIDField(source="program_id", read_only=True, allow_null=True)
    rights = serializers.ListField(child=serializers.CharField(), read_only=True)

    class Meta:
        model = Consent
        fields = [name for name in GIVEN_EXAMPLE if name not in {"from", "until"}]

    def get_fields(self) -> dict[str, Any]:
        fields = super().get_fields()
        fields["from"] = serializers.DateTimeField(source="valid_from", read_only=True)
        fields["until"] = serializers.DateTimeField(source="valid_until", read_only=True, allow_null=True)
        return {name: fields[name] for name in GIVEN_EXAMPLE}


class ConsentsGiven(CallerView):
    """The consents that name the caller."""

    keyset = ("-received_at", "-id")
    serializer_class = ConsentGivenOut

    def get_queryset(self) -> QuerySet[Consent]:
        return access.consents_for(self.caller)

    @extend_schema(
        summary="List the consents given to me",
        description="Consents that name the caller as adviser, or a program that they lead; the newest first, ended "
        "ones too.",
        responses=ConsentGivenOut(many=True),
        tags=["consent"],
        examples=[OpenApiExample("To an adviser", value=GIVEN_EXAMPLE, response_only=True)],
    )
    def get(self, request: Request) -> Response:
        StrictQuery.of(request, paged=True)
        page = self.paginate_queryset(self.get_queryset())
        return self.get_paginated_response(self.get_serializer(page, many=True).data)


class VisitorOut(serializers.Serializer[Any]):
    """Who was let in."""

    email = serializers.EmailField()
    name = serializers.CharField()


class VisitOut(serializers.ModelSerializer[Visit]):
    """One request that a consent let onto the farm."""

    visitor = serializers.SerializerMethodField(help_text="Null once they have left the service.")
    consent = serializers.UUIDField(source="consent_id", read_only=True, help_text="The consent that let them in.")
    purpose = serializers.CharField(source="consent.purpose", read_only=True)
    program = serializers.UUIDField(source="consent.program_id", read_only=True, allow_null=True)

    class Meta:
        model = Visit
        fields = [*VISIT_EXAMPLE]

    @extend_schema_field(VisitorOut(allow_null=True))
    def get_visitor(self, visit: Visit) -> dict[str, str] | None:
        if visit.person is None:
            return None
        return {"email": visit.person.email, "name": visit.consent.name or visit.person.name}


class AccessLog(FarmView):
    """The farm's access log."""

    rights = MANAGE_ONLY
    keyset = ("-visited_at", "-id")
    serializer_class = VisitOut

    @extend_schema(
        summary="Read the access log of a farm",
        description="For the farm's owners: every request that a consent let onto the farm, the newest first, with "
        "who made it and when. It is added to and never changed.",
        parameters=[OpenApiParameter("consent", uuid.UUID, description="Only requests that this consent let in.")],
        responses=VisitOut(many=True),
        tags=["consent"],
        examples=[OpenApiExample("An adviser looks at the blocks", value=VISIT_EXAMPLE, response_only=True)],
    )
    def get(self, request: Request, farm: uuid.UUID) -> Response:  # noqa: ARG002
        query = StrictQuery.of(request, paged=True, consent=StrictUUIDField())
        page = self.paginate_queryset(visits.visits_of(self.opened).filter(**query))
        return self.get_paginated_response(self.get_serializer(page, many=True).data)
