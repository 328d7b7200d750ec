"""Consents of a farm: whom it lets in beyond its own people, for what, and until when."""

from __future__ import annotations

import uuid
from typing import Any

from django.db.models import QuerySet
from drf_spectacular.utils import OpenApiExample, extend_schema, extend_schema_field
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from records.api.preconditions import answer, expected_version, place_of
from records.api.strict import (
    AwareDateTimeField,
    StrictCharField,
    StrictEmailField,
    StrictQuery,
    StrictSerializer,
    StrictUUIDField,
)
from records.api.views import MANAGE_ONLY, FarmView, OpenView
from records.consent_texts import CURRENT
from records.models import Consent, Purpose
from records.services import consents

ADVICE_EXAMPLE = {
    "id": "01991b5e-0000-7000-8000-00000000c0a1",
    "purpose": "advice",
    "adviser": {"email": "mira.osei@harrow-vale.example", "name": "Mira Osei (invented)"},
    "program": None,
    "rights": ["read", "record"],
    "from": "2026-11-20T15:04:05Z",
    "until": "2027-04-01T04:00:00Z",
    "withdrawn_at": None,
    "text_version": "advice@1",
    "given_by": "Ines Falk (invented)",
    "withdrawn_by": None,
    "version": 1,
    "received_at": "2026-11-20T15:04:05Z",
    "changed_at": "2026-11-20T15:04:05Z",
}
WITHDRAWN_EXAMPLE = {
    **ADVICE_EXAMPLE,
    "withdrawn_at": "2026-12-02T09:30:00Z",
    "withdrawn_by": "Ines Falk (invented)",
    "version": 2,
    "changed_at": "2026-12-02T09:30:00Z",
}
TEXT_EXAMPLE = {
    "purpose": "advice",
    "version": CURRENT[Purpose.ADVICE].version,
    "text": CURRENT[Purpose.ADVICE].text,
}
_PURPOSE_HELP = (
    "advice: an adviser reads, and records where that is given; records: the program's leads read; "
    "summaries: the program may count the farm in its summaries, and reads nothing; benchmarks: the program may count "
    "the farm in what its growers who take part are held against, and reads nothing."
)


class AdviserIn(StrictSerializer):
    """Who advises."""

    email = StrictEmailField(max_length=254, help_text="By which the service knows them.")
    name = StrictCharField(max_length=120, help_text="How the farm calls them.")


class ConsentIn(StrictSerializer):
    """A consent to be given."""

    id = StrictUUIDField(required=False, help_text="Made by the client, so that sending again is safe.")
    purpose = serializers.ChoiceField(
        choices=Purpose.choices, help_text=f"{_PURPOSE_HELP} There may be more in later versions."
    )
    adviser = AdviserIn(required=False, help_text="For the purpose advice.")
    program = StrictUUIDField(
        required=False, help_text="For records, summaries and benchmarks: a program that concerns you already."
    )
    join_code = StrictCharField(
        max_length=36, required=False, help_text="Instead of its id, the first time: the code that its leads gave you."
    )
    rights = serializers.ListField(
        child=serializers.ChoiceField(choices=[("read", "read"), ("record", "record")]),
        required=False,
        max_length=2,
        help_text="For advice: read, or read and record. Left out: no more than to read.",
    )
    text_version = StrictCharField(
        max_length=40, help_text="The version of the text that the owner agreed to, from /consent-texts."
    )

    def get_fields(self) -> dict[str, Any]:
        starts = AwareDateTimeField(required=False, source="valid_from", help_text="Left out: at once.")
        ends = AwareDateTimeField(required=False, source="valid_until", help_text="Left out: until it is withdrawn.")
        return {**super().get_fields(), "from": starts, "until": ends}


class AdviserOut(serializers.Serializer[Any]):
    """Who advises, as the farm knows them."""

    email = serializers.EmailField()
    name = serializers.CharField()


class ProgramNamed(serializers.Serializer[Any]):
    """A program by its name."""

    id = serializers.UUIDField()
    name = serializers.CharField()


class ConsentOut(serializers.ModelSerializer[Consent]):
    """A consent, in force or ended."""

    adviser = serializers.SerializerMethodField()
    program = ProgramNamed(allow_null=True, read_only=True)
    rights = serializers.ListField(child=serializers.CharField(), read_only=True)
    given_by = serializers.CharField(source="given_by.name", default=None, allow_null=True, read_only=True)
    withdrawn_by = serializers.CharField(source="withdrawn_by.name", default=None, allow_null=True, read_only=True)

    class Meta:
        model = Consent
        fields = [name for name in ADVICE_EXAMPLE if name not in {"from", "until"}]

    def get_fields(self) -> dict[str, Any]:
        fields = super().get_fields()
        fields["from"] = serializers.DateTimeField(source="valid_from", read_only=True)
        fields["until"] = serializers.DateTimeField(source="valid_until", read_only=True, allow_null=True)
        return {name: fields[name] for name in ADVICE_EXAMPLE}

    @extend_schema_field(AdviserOut(allow_null=True))
    def get_adviser(self, consent: Consent) -> dict[str, str] | None:
        if consent.person is None:
            return None
        return {"email": consent.person.email, "name": consent.name or consent.person.name}


class Consents(FarmView):
    """The consents of a farm."""

    rights = MANAGE_ONLY
    keyset = ("-received_at", "-id")
    serializer_class = ConsentOut

    def get_queryset(self) -> QuerySet[Consent]:
        found: QuerySet[Consent] = consents.consents_of(self.opened)
        return found

    @extend_schema(
        summary="List the consents of a farm",
        description="For the farm's owners: every consent, the newest first, ended ones too.",
        responses=ConsentOut(many=True),
        tags=["consent"],
        examples=[OpenApiExample("An adviser", value=ADVICE_EXAMPLE, response_only=True)],
    )
    def get(self, request: Request, farm: uuid.UUID) -> Response:  # noqa: ARG002
        StrictQuery.of(request, paged=True)
        page = self.paginate_queryset(self.get_queryset())
        return self.get_paginated_response(self.get_serializer(page, many=True).data)

    @extend_schema(
        summary="Give consent",
        description="Lets one adviser or one program onto the farm for one purpose, from their next request on. A "
        "consent is not changed: withdraw it and give another. Each request that it lets in stands in the farm's "
        "access log. With an id of the client's own, sending it again is safe.",
        request=ConsentIn,
        responses={200: ConsentOut, 201: ConsentOut},
        tags=["consent"],
        examples=[
            OpenApiExample(
                "An adviser for one winter",
                value={
                    "purpose": "advice",
                    "adviser": ADVICE_EXAMPLE["adviser"],
                    "rights": ["read", "record"],
                    "until": "2027-04-01T00:00:00-04:00",
                    "text_version": "advice@1",
                },
                request_only=True,
            ),
            OpenApiExample(
                "A program's summaries",
                value={
                    "purpose": "summaries",
                    "program": "01991b5e-0000-7000-8000-0000000009a1",
                    "text_version": "summaries@1",
                },
                request_only=True,
            ),
            OpenApiExample("The consent", value=ADVICE_EXAMPLE, response_only=True),
        ],
    )
    def post(self, request: Request, farm: uuid.UUID) -> Response:
        StrictQuery.of(request)
        sent = ConsentIn(data=request.data)
        sent.is_valid(raise_exception=True)
        told = dict(sent.validated_data)
        stored = consents.give_consent(self.opened, told.pop("id", None), _asked(told))
        location = place_of(request, "consent", farm=farm, consent=stored.row.pk) if stored.created else None
        return answer(ConsentOut(stored.row).data, stored.row, created=stored.created, location=location)


def _asked(told: dict[str, Any]) -> consents.Asked:
    adviser, rights = told.pop("adviser", None), told.pop("rights", None)
    return consents.Asked(
        adviser=consents.Adviser(**adviser) if adviser else None,
        program_id=told.pop("program", None),
        rights=None if rights is None else tuple(rights),
        **told,
    )


class OneConsent(FarmView):
    """One consent."""

    rights = MANAGE_ONLY
    serializer_class = ConsentOut

    @extend_schema(
        summary="Read a consent",
        description="One consent of the farm, with its version as ETag.",
        responses=ConsentOut,
        tags=["consent"],
        examples=[OpenApiExample("The consent", value=ADVICE_EXAMPLE, response_only=True)],
    )
    def get(self, request: Request, farm: uuid.UUID, consent: uuid.UUID) -> Response:  # noqa: ARG002
        StrictQuery.of(request)
        found = consents.consent_of(self.opened, consent)
        return answer(ConsentOut(found).data, found)

    @extend_schema(
        summary="Withdraw a consent",
        description="It opens nothing from the next request on, and jobs that were asked for under it end. The row "
        "stays and says when it ended and by whom. Withdrawing twice is once.",
        responses={200: ConsentOut},
        tags=["consent"],
        examples=[OpenApiExample("Withdrawn", value=WITHDRAWN_EXAMPLE, response_only=True)],
    )
    def delete(self, request: Request, farm: uuid.UUID, consent: uuid.UUID) -> Response:  # noqa: ARG002
        StrictQuery.of(request)
        ended = consents.withdraw_consent(self.opened, consent, version=expected_version(request))
        return answer(ConsentOut(ended).data, ended)


class ConsentTextOut(serializers.Serializer[Any]):
    """What an owner agrees to for one purpose."""

    purpose = serializers.ChoiceField(
        choices=Purpose.choices, help_text="What it is for. There may be more in later versions."
    )
    version = serializers.CharField(help_text="Sent with the consent as text_version.")
    text = serializers.CharField(help_text="To be shown to the owner, whole, before they agree.")


class ConsentTexts(OpenView):
    """The texts that are agreed to."""

    pagination_class = None
    serializer_class = ConsentTextOut

    @extend_schema(
        summary="List the texts of consent",
        description="For each purpose the text that stands now. A consent names the version that its giver read.",
        responses=ConsentTextOut(many=True),
        tags=["consent"],
        examples=[OpenApiExample("For advice", value=TEXT_EXAMPLE, response_only=True)],
    )
    def get(self, request: Request) -> Response:
        StrictQuery.of(request)
        return Response(ConsentTextOut(list(CURRENT.values()), many=True).data)
