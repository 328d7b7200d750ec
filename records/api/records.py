"""The endpoints of every kind of record: list and create, read, change and withdraw, versions, reinstatement."""

from __future__ import annotations

import uuid
from dataclasses import dataclass
from typing import Any, Final

from django.db.models import QuerySet
from django.http import HttpResponseBase
from django.urls import URLPattern, path
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiExample, OpenApiParameter, extend_schema, extend_schema_field
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from records.access import Right
from records.api.forms import (
    CsvRenderer,
    InForms,
    XlsxRenderer,
    form_asked,
    form_field,
    form_parameter,
    in_forms,
    renderers,
)
from records.api.kind_examples import EXAMPLES, NEW, change_of
from records.api.kind_fields import WordField, changed_by, sent_by, shown_of
from records.api.parameters import SEASON, text_of
from records.api.preconditions import answer, expected_version, place_of
from records.api.record_files import FILE_EXAMPLES, MOST_IN_A_FILE, SAYS, record_file
from records.api.strict import StrictCharField, StrictIntegerField, StrictQuery, StrictUUIDField
from records.api.views import READ_AND_RECORD, FarmView
from records.kinds import Kind
from records.models import RecordChange
from records.models.recorded import Recorded
from records.services.recording import MODELS, correct, record, record_of, reinstate, withdraw

RECORD_RIGHTS: Final = {**READ_AND_RECORD, "DELETE": Right.RECORD}
VERSION_EXAMPLE: Final = {
    "version": 1,
    "replaced_at": "2027-01-16T15:20:11Z",
    "replaced_by": "01991b5e-0000-7000-8000-0000000000a2",
    "reason": "counted after the final cut",
    "record": {"nodes_retained": None, "pruning_weight_value": 2.8, "pruning_weight_unit": "[lb_av]"},
}
#: Columns that say nothing about the vine.
_INNER: Final = {"created_digest", "line_digest", "change_position"}
_REASON: Final = OpenApiParameter("reason", text_of(400), description="Why; kept with the version that it replaces.")


class VersionOut(serializers.ModelSerializer[RecordChange]):
    """A version of a record that a later one replaced."""

    replaced_at = serializers.DateTimeField(source="changed_at")
    replaced_by = serializers.UUIDField(source="person_id", allow_null=True)
    record = serializers.SerializerMethodField(help_text="The record as it stood, column by column.")

    class Meta:
        model = RecordChange
        fields = [*VERSION_EXAMPLE]

    @extend_schema_field({"type": "object", "additionalProperties": True})
    def get_record(self, change: RecordChange) -> dict[str, Any]:
        return {name: value for name, value in change.old_row.items() if name not in _INNER}


@dataclass(frozen=True)
class Says:
    """How a kind's endpoints are described, and with what a single record is answered."""

    tag: str
    created: str = "Store a record"
    created_more: str = ""
    changed: str = "Correct a record"
    changed_more: str = ""
    answers: type[serializers.BaseSerializer[Any]] | None = None
    answered: dict[str, Any] | None = None
    after_change: dict[str, Any] | None = None


def views_of(kind: Kind, says: Says) -> list[URLPattern]:
    """Give the addresses of one kind of record, with their views."""
    slug = kind.name.replace("_", "-")
    base = f"farms/<uuid:farm>/{kind.path}"
    one = f"{base}/<uuid:record>"
    return [
        path(base, _list_view(kind, says).as_view(), name=kind.path),
        path(one, _one_view(kind, says).as_view(), name=slug),
        path(f"{one}/versions", _versions_view(kind, says).as_view(), name=f"{slug}-versions"),
        path(f"{one}/reinstatement", _reinstatement_view(kind, says).as_view(), name=f"{slug}-reinstatement"),
    ]


def _answering(kind: Kind, says: Says) -> Any:
    return says.answers or shown_of(kind)


def _example(kind: Kind, says: Says) -> OpenApiExample:
    return OpenApiExample("The record", value=says.answered or EXAMPLES[kind.name], response_only=True)


def _named(view: type[FarmView], kind: Kind, what: str) -> type[FarmView]:
    view.__name__ = view.__qualname__ = f"{''.join(part.capitalize() for part in kind.name.split('_'))}{what}"
    return view


def _list_view(kind: Kind, says: Says) -> type[FarmView]:
    shown, answering = shown_of(kind), _answering(kind, says)

    class Records(InForms, FarmView):
        rights = READ_AND_RECORD
        keyset = ("season", "id")
        serializer_class = shown
        renderer_classes = renderers(CsvRenderer, XlsxRenderer)

        @property
        def page_limits(self) -> tuple[int, int]:
            in_a_file = form_asked(self.request) in {CsvRenderer.format, XlsxRenderer.format}
            return (MOST_IN_A_FILE, MOST_IN_A_FILE) if in_a_file else (50, 500)

        def get_queryset(self) -> QuerySet[Recorded]:
            return MODELS[kind.name].objects.for_farm(self.opened.farm)

        @extend_schema(
            summary=f"List {kind.plural.replace('_', ' ')}",
            description=f"{kind.says} By season, live ones only unless `withdrawn` says otherwise. {SAYS}",
            parameters=[
                form_parameter("csv", "xlsx"),
                OpenApiParameter("season", SEASON, description="Only this harvest year."),
                OpenApiParameter("block", uuid.UUID, description="Only this block."),
                OpenApiParameter("vine", uuid.UUID, description="Only this vine."),
                OpenApiParameter(
                    "withdrawn", str, enum=["include", "only"], description="Withdrawn ones too, or only."
                ),
            ],
            responses=in_forms(shown(many=True), csv=OpenApiTypes.STR, xlsx=OpenApiTypes.BINARY),
            tags=[says.tag],
            examples=[
                OpenApiExample(
                    "One record", value=EXAMPLES[kind.name], response_only=True, media_type="application/json"
                ),
                *FILE_EXAMPLES,
            ],
        )
        def get(self, request: Request, farm: uuid.UUID) -> HttpResponseBase:  # noqa: ARG002
            query = StrictQuery.of(
                request,
                paged=True,
                **{"as": form_field("csv", "xlsx")},
                season=StrictIntegerField(min_value=1900, max_value=2100),
                block=StrictUUIDField(),
                vine=StrictUUIDField(),
                withdrawn=WordField(("include", "only")),
            )
            query.pop("as", None)
            withdrawn = query.pop("withdrawn", None)
            rows = self.get_queryset().filter(**query)
            if withdrawn != "include":
                rows = rows.filter(withdrawn_at__isnull=withdrawn is None)
            page = self.paginate_queryset(rows) or []
            form = form_asked(request)
            if form in {CsvRenderer.format, XlsxRenderer.format}:
                self.spend(len(page) // 100)
                return record_file(self.opened, kind, page, form, self.get_paginated_response([]))
            return self.get_paginated_response(self.get_serializer(page, many=True).data)

        @extend_schema(
            summary=says.created,
            description=f"{kind.says} {says.created_more}Sent again with the same id, it stores nothing new and "
            "answers 200 with the record as it stands.",
            request=sent_by(kind),
            responses={200: answering, 201: answering},
            tags=[says.tag],
            examples=[OpenApiExample("A new one", value=NEW[kind.name], request_only=True), _example(kind, says)],
        )
        def post(self, request: Request, farm: uuid.UUID) -> Response:
            StrictQuery.of(request)
            sent = sent_by(kind)(data=request.data)
            sent.is_valid(raise_exception=True)
            said: dict[str, Any] = dict(sent.validated_data)
            stored = record(self.opened, kind, said.pop("id", None), said)
            slug = kind.name.replace("_", "-")
            location = place_of(request, slug, farm=farm, record=stored.row.pk) if stored.created else None
            data = answering(stored.row, context={"view": self}).data
            return answer(data, stored.row, created=stored.created, location=location)

    return _named(Records, kind, "List")


def _one_view(kind: Kind, says: Says) -> type[FarmView]:
    answering = _answering(kind, says)

    class OneRecord(FarmView):
        rights = RECORD_RIGHTS
        serializer_class = answering

        def _answer(self, row: Recorded) -> Response:
            return answer(answering(row, context={"view": self}).data, row)

        @extend_schema(
            summary=f"Read a {kind.title.lower()}",
            description=f"{kind.says} Its version is its ETag; a withdrawn one says when it was withdrawn.",
            responses=answering,
            tags=[says.tag],
            examples=[_example(kind, says)],
        )
        def get(self, request: Request, farm: uuid.UUID, record: uuid.UUID) -> Response:  # noqa: ARG002
            StrictQuery.of(request)
            return self._answer(record_of(self.opened, kind, record))

        @extend_schema(
            summary=says.changed,
            description="Send the members to change and the ETag that you read as If-Match; the version before stays "
            f"readable. {says.changed_more}",
            request=changed_by(kind),
            responses=answering,
            tags=[says.tag],
            examples=[
                OpenApiExample("A correction", value=change_of(kind), request_only=True),
                OpenApiExample(
                    "After it",
                    value=says.after_change or {**(says.answered or EXAMPLES[kind.name]), "version": 2},
                    response_only=True,
                ),
            ],
        )
        def patch(self, request: Request, farm: uuid.UUID, record: uuid.UUID) -> Response:  # noqa: ARG002
            StrictQuery.of(request)
            version = expected_version(request)
            sent = changed_by(kind)(data=request.data)
            sent.is_valid(raise_exception=True)
            said: dict[str, Any] = dict(sent.validated_data)
            reason = said.pop("reason", "")
            return self._answer(correct(self.opened, kind, record, said, version=version, reason=reason))

        @extend_schema(
            summary=f"Withdraw a {kind.title.lower()}",
            description="It stays as a tombstone with its versions: lists and reckonings leave it out, a late phone "
            "cannot bring it back, and only its reinstatement lets it stand again.",
            parameters=[_REASON],
            responses={200: answering},
            tags=[says.tag],
            examples=[
                OpenApiExample(
                    "Withdrawn",
                    value={
                        **(says.answered or EXAMPLES[kind.name]),
                        "version": 2,
                        "withdrawn_at": "2027-10-03T08:00:00Z",
                    },
                    response_only=True,
                )
            ],
        )
        def delete(self, request: Request, farm: uuid.UUID, record: uuid.UUID) -> Response:  # noqa: ARG002
            query = StrictQuery.of(request, reason=StrictCharField(max_length=400, allow_blank=True))
            version = expected_version(request)
            reason = query.get("reason", "")
            return self._answer(withdraw(self.opened, kind, record, version=version, reason=reason))

    return _named(OneRecord, kind, "Record")


def _versions_view(kind: Kind, says: Says) -> type[FarmView]:
    class Versions(FarmView):
        keyset = ("version", "id")
        serializer_class = VersionOut

        def get_queryset(self) -> QuerySet[RecordChange]:
            row = record_of(self.opened, kind, self.kwargs["record"])
            return RecordChange.objects.for_farm(self.opened.farm).filter(entity=kind.name, entity_id=row.pk)

        @extend_schema(
            summary=f"Read the replaced versions of a {kind.title.lower()}",
            description="Oldest first: what stood there, who replaced it, when and why.",
            responses=VersionOut(many=True),
            tags=[says.tag],
            examples=[OpenApiExample("The first version", value=VERSION_EXAMPLE, response_only=True)],
        )
        def get(self, request: Request, farm: uuid.UUID, record: uuid.UUID) -> Response:  # noqa: ARG002
            StrictQuery.of(request, paged=True)
            page = self.paginate_queryset(self.get_queryset())
            return self.get_paginated_response(self.get_serializer(page, many=True).data)

    return _named(Versions, kind, "Versions")


def _reinstatement_view(kind: Kind, says: Says) -> type[FarmView]:
    answering = _answering(kind, says)

    class Reinstatement(FarmView):
        rights = {"POST": Right.RECORD}
        serializer_class = answering
        takes_if_match = True

        @extend_schema(
            summary=f"Let a withdrawn {kind.title.lower()} stand again",
            description="Send the ETag that you read as If-Match. Where another live record has taken its place "
            "meanwhile, the answer is 409.",
            parameters=[_REASON],
            request=None,
            responses=answering,
            tags=[says.tag],
            examples=[
                OpenApiExample(
                    "It stands", value={**(says.answered or EXAMPLES[kind.name]), "version": 3}, response_only=True
                )
            ],
        )
        def post(self, request: Request, farm: uuid.UUID, record: uuid.UUID) -> Response:  # noqa: ARG002
            query = StrictQuery.of(request, reason=StrictCharField(max_length=400, allow_blank=True))
            version = expected_version(request)
            row = reinstate(self.opened, kind, record, version=version, reason=query.get("reason", ""))
            return answer(answering(row, context={"view": self}).data, row)

    return _named(Reinstatement, kind, "Reinstatement")
