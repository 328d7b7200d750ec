"""Files of vines: send one, follow its job, read what became of every line."""

from __future__ import annotations

import json
import uuid
from collections.abc import Mapping
from typing import IO, Any, cast

from django.db.models import QuerySet
from drf_spectacular.utils import OpenApiExample, OpenApiParameter, extend_schema, extend_schema_field
from rest_framework import serializers, status
from rest_framework.parsers import BaseParser, MultiPartParser
from rest_framework.request import Request
from rest_framework.response import Response

from records.api.jobs import JOB_EXAMPLE, JobOut
from records.api.parameters import SEASON, text_of
from records.api.preconditions import place_of
from records.api.strict import StrictBooleanField, StrictCharField, StrictIntegerField, StrictQuery, StrictSerializer
from records.api.views import READ_AND_RECORD, FarmView
from records.errors import NotValid
from records.imports.column_maps import ColumnMap, read_map
from records.models import Import, ImportRow
from records.models.imports import LineOutcome
from records.services import imports

IMPORT_EXAMPLE = {
    "id": "0b6c3a52-9d1f-5c58-8f61-3a2f0c9e7d15",
    "job": "01991b5e-0000-7000-8000-00000000f0b1",
    "block": "01991b5e-0000-7000-8000-0000000b10c1",
    "file_name": "lower-terrace.csv",
    "file_sha256": "9f86d081884c7d659a2feaa0c55ad015a3bf4f1b2b0b822cd15d6c15b0f00a08",
    "season": 2027,
    "column_map": "plain",
    "counts": {"created": 351, "unchanged": 0, "not_stored": 1, "with_findings": 2},
    "received_at": "2026-11-20T15:04:05Z",
}
ROW_EXAMPLE = {
    "line": 12,
    "values": {"row": "1", "vine": "11", "pruning_weight": "3,9"},
    "outcome": "created",
    "findings": [
        {
            "line": 12,
            "column": "pruning_weight",
            "value": "3,9",
            "code": "not_a_number",
            "reason": "a number in kg is needed, with a decimal point and no unit",
        }
    ],
    "vine": "01991b5e-0000-7000-8000-00000000b1e7",
}


class CsvParser(BaseParser):
    """A CSV file as the body."""

    media_type = "text/csv"

    def parse(
        self,
        stream: IO[Any],
        media_type: str | None = None,  # noqa: ARG002
        parser_context: Mapping[str, Any] | None = None,  # noqa: ARG002
    ) -> dict[str, Any]:
        return {"content": stream.read()}


class ImportOut(serializers.ModelSerializer[Import]):
    """A file that was given to be taken in."""

    column_map = serializers.SerializerMethodField(help_text="Name of the column map by which it was read.")
    counts = serializers.DictField(child=serializers.IntegerField(), help_text="How many lines came to which outcome.")

    class Meta:
        model = Import
        fields = [*IMPORT_EXAMPLE]

    def get_column_map(self, imported: Import) -> str:
        return str(imported.column_map.get("name", ""))


class FindingOut(serializers.Serializer[Any]):
    """A doubt about one value."""

    line = serializers.IntegerField()
    column = serializers.CharField()
    value = serializers.CharField(help_text="As sent.")
    code = serializers.CharField()
    reason = serializers.CharField(help_text="What is wrong, or what is needed.")


class ImportRowOut(serializers.ModelSerializer[ImportRow]):
    """A line of an imported file: as sent, what became of it, and what is doubtful."""

    values = serializers.SerializerMethodField(help_text="The line as sent, by heading.")
    findings = FindingOut(many=True)
    vine = serializers.UUIDField(source="vine_id", allow_null=True, help_text="The vine that it is about.")

    class Meta:
        model = ImportRow
        fields = [*ROW_EXAMPLE]

    @extend_schema_field({"type": "object", "additionalProperties": True})
    def get_values(self, line: ImportRow) -> dict[str, Any]:
        return dict(line.values)


class ImportAndJob(serializers.Serializer[Any]):
    """An import, and the job that carries it out."""

    imported = ImportOut(source="import")
    job = JobOut()

    def get_fields(self) -> dict[str, Any]:
        fields = super().get_fields()
        return {"import": ImportOut(), "job": fields["job"]}


class ImportFile(StrictSerializer):
    """A file, and what the column map does not say of it."""

    file = serializers.FileField(max_length=200, help_text="The CSV file.")
    map = StrictCharField(
        max_length=20_000, required=False, multiline=True, help_text="Name of a map, or a map as JSON."
    )
    block = StrictCharField(max_length=120, required=False, help_text="Name of the block; made if the farm has none.")
    season = StrictCharField(max_length=4, required=False, help_text="Harvest year.")


_QUERY = [
    OpenApiParameter(
        "map", text_of(60), description="A column map by its name; without it, the one that fits the headings."
    ),
    OpenApiParameter("block", text_of(120), description="Name of the block; made if the farm has none of this name."),
    OpenApiParameter("season", SEASON, description="Harvest year that the winter belongs to."),
]


class Imports(FarmView):
    """The imports of a farm."""

    rights = READ_AND_RECORD
    keyset = ("-received_at", "-id")
    serializer_class = ImportOut
    parser_classes = [CsvParser, MultiPartParser]

    def get_queryset(self) -> QuerySet[Import]:
        return Import.objects.for_farm(self.opened.farm).defer("content")

    @extend_schema(
        summary="List imports",
        description="The newest first.",
        responses=ImportOut(many=True),
        tags=["imports"],
        examples=[OpenApiExample("An import", value=IMPORT_EXAMPLE, response_only=True)],
    )
    def get(self, request: Request, farm: uuid.UUID) -> Response:  # noqa: ARG002
        StrictQuery.of(request, paged=True)
        page = self.paginate_queryset(self.get_queryset())
        return self.get_paginated_response(self.get_serializer(page, many=True).data)

    @extend_schema(
        summary="Take in a file of vines",
        description="Send the CSV file as the body, or as `file` in a form. A worker takes it in line by line; good "
        "lines are stored, every doubtful value is named, and every line is kept as sent. The same file for the same "
        "block and season changes nothing.",
        parameters=_QUERY,
        request={"text/csv": {"type": "string"}, "multipart/form-data": ImportFile},
        responses={202: ImportAndJob},
        tags=["imports"],
        examples=[
            OpenApiExample(
                "The template", value="row,vine,pruning_weight\n1,1,1.25\n", media_type="text/csv", request_only=True
            ),
            OpenApiExample(
                "Asked for",
                value={"import": IMPORT_EXAMPLE, "job": JOB_EXAMPLE},
                response_only=True,
                status_codes=["202"],
            ),
        ],
    )
    def post(self, request: Request, farm: uuid.UUID) -> Response:
        asked = imports.ask_for_import(self.opened, _request(request))
        body = {"import": ImportOut(asked.imported).data, "job": JobOut(asked.job).data}
        headers = {"Location": place_of(request, "job", farm=farm, job=asked.job.pk), "Retry-After": "1"}
        return Response(body, status=status.HTTP_202_ACCEPTED, headers=headers)


class OneImport(FarmView):
    """One import."""

    serializer_class = ImportOut

    @extend_schema(
        summary="Read an import",
        description="How many lines came to which outcome; the lines themselves are at `…/rows`.",
        responses=ImportOut,
        tags=["imports"],
        examples=[OpenApiExample("An import", value=IMPORT_EXAMPLE, response_only=True)],
    )
    def get(self, request: Request, farm: uuid.UUID, import_id: uuid.UUID) -> Response:  # noqa: ARG002
        StrictQuery.of(request)
        return Response(ImportOut(imports.import_of(self.opened, import_id)).data)


class ImportRows(FarmView):
    """The lines of an import."""

    keyset = ("line", "id")
    serializer_class = ImportRowOut

    def get_queryset(self) -> QuerySet[ImportRow]:
        imported = imports.import_of(self.opened, self.kwargs["import_id"])
        return ImportRow.objects.for_farm(self.opened.farm).filter(imported=imported)

    @extend_schema(
        summary="Read what became of every line",
        description="In the order of the file: as sent, the outcome, and every doubtful value with its reason.",
        parameters=[
            OpenApiParameter("outcome", str, enum=LineOutcome.values, description="Only lines of this outcome."),
            OpenApiParameter("with_findings", bool, description="Only lines with, or only lines without findings."),
        ],
        responses=ImportRowOut(many=True),
        tags=["imports"],
        examples=[OpenApiExample("A doubtful line", value=ROW_EXAMPLE, response_only=True)],
    )
    def get(self, request: Request, farm: uuid.UUID, import_id: uuid.UUID) -> Response:  # noqa: ARG002
        query = StrictQuery.of(
            request,
            paged=True,
            outcome=serializers.ChoiceField(choices=LineOutcome.choices),
            with_findings=StrictBooleanField(),
        )
        lines = self.get_queryset()
        wanted = query.pop("with_findings", None)
        if wanted is not None:
            lines = lines.exclude(findings=[]) if wanted else lines.filter(findings=[])
        page = self.paginate_queryset(lines.filter(**query))
        return self.get_paginated_response(self.get_serializer(page, many=True).data)


def _request(request: Request) -> imports.Request:
    """Give what was asked for, whether the file came as the body or in a form."""
    body = cast(dict[str, Any], request.data)
    told = StrictQuery.of(
        request,
        map=StrictCharField(max_length=60),
        block=StrictCharField(max_length=120),
        season=StrictIntegerField(min_value=1900, max_value=2100),
    )
    if request.content_type.startswith(CsvParser.media_type):
        name = "the body of the request"
        return imports.Request(name, body.get("content", b""), _map(told), told.get("block", ""), told.get("season"))
    sent = ImportFile(data=body)
    sent.is_valid(raise_exception=True)
    values: dict[str, Any] = sent.validated_data
    for twice in sorted(told.keys() & values.keys()):
        raise NotValid.at(twice, code="said_twice", detail=f"Say {twice} in the form or in the address, not in both.")
    file, values = values["file"], told | values
    return imports.Request(file.name, file.read(), _map(values), values.get("block", ""), _season(values))


def _map(told: Mapping[str, Any]) -> ColumnMap | None:
    text = told.get("map")
    if not text:
        return None
    if not text.lstrip().startswith("{"):
        return imports.named_map(text)
    try:
        told = json.loads(text)
    except (ValueError, RecursionError) as error:
        raise NotValid.at("map", code="column_map", detail="The column map is not JSON.") from error
    return read_map(told)


def _season(told: Mapping[str, Any]) -> int | None:
    text = str(told.get("season", ""))
    if text and not (text.isascii() and text.isdecimal() and 1900 <= int(text) <= 2100):
        raise NotValid.at("season", code="out_of_range", detail="A season is a harvest year from 1900 to 2100.")
    return int(text) if text else None
