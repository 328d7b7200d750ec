"""Files of vines: send one, follow its job, read what became of every line."""

from __future__ import annotations

import uuid
from collections.abc import Mapping
from typing import Any

from django.db.models import QuerySet
from django.http import HttpResponseBase
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiExample, OpenApiParameter, extend_schema, extend_schema_field
from rest_framework import serializers
from rest_framework.parsers import MultiPartParser
from rest_framework.request import Request
from rest_framework.response import Response

from records.access import OpenFarm
from records.api.bulk_bodies import Documents
from records.api.forms import (
    CSV,
    XLSX,
    CsvRenderer,
    InForms,
    attachment,
    form_asked,
    form_field,
    form_parameter,
    in_forms,
    renderers,
)
from records.api.import_files import PARAMETERS, CsvParser, ImportFile, XlsxParser, asked_of
from records.api.jobs import JOB_EXAMPLE, JobOut
from records.api.kind_fields import sent_by
from records.api.preconditions import accepted, place_of
from records.api.strict import StrictBooleanField, StrictQuery
from records.api.views import READ_AND_RECORD, FarmView
from records.imports.reporting import report_lines
from records.kinds import Kind
from records.models import Import, ImportRow
from records.models.imports import LineOutcome
from records.services import imports, record_files

IMPORT_EXAMPLE = {
    "id": "0b6c3a52-9d1f-5c58-8f61-3a2f0c9e7d15",
    "job": "01991b5e-0000-7000-8000-00000000f0b1",
    "block": "01991b5e-0000-7000-8000-0000000b10c1",
    "block_name": "Lower Terrace (invented)",
    "file_name": "lower-terrace.csv",
    "file_sha256": "9f86d081884c7d659a2feaa0c55ad015a3bf4f1b2b0b822cd15d6c15b0f00a08",
    "season": 2027,
    "column_map": "plain",
    "sheet": "",
    "dry_run": False,
    "kind": "",
    "existing": "complete",
    "counts": {"created": 351, "completed": 0, "updated": 0, "unchanged": 0, "not_stored": 1, "with_findings": 2},
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
    "record": None,
}


REPORT_EXAMPLE = (
    "line,outcome,column,value,code,reason,vine,record\r\n"
    '12,"created","pruning_weight","3,9","not_a_number","a number in kg is needed, with a decimal point and no unit",'
    '"01991b5e-0000-7000-8000-00000000b1e7",\r\n'
)


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
    record = serializers.UUIDField(
        source="record_id", allow_null=True, help_text="The record that it made, completed or repeats."
    )

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


class Imports(FarmView):
    """The imports of a farm."""

    rights = READ_AND_RECORD
    keyset = ("-received_at", "-id")
    serializer_class = ImportOut
    parser_classes = [CsvParser, XlsxParser, MultiPartParser]

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
        description="Send the CSV or XLSX file as the body, or as `file` in a form. A worker takes it in line by line; "
        "good lines are stored, every doubtful value is named, and every line is kept as sent. The same file for the "
        "same block and season changes nothing. A file that brings new blocks, rows or vines takes the right `manage`; "
        "sent with less, such lines are named and not stored. A file of counts after a file of weights completes the "
        "records of the first. With `kind`, the file holds records of one kind, with the columns of its template "
        "(`/templates/{kind}.csv`); each line goes through the rules of the kind's own "
        "endpoint. Of a dry run the report is all that is stored.",
        parameters=PARAMETERS,
        request={
            CSV: {"type": "string"},
            XLSX: {"type": "string", "contentMediaType": XLSX, "contentEncoding": "binary"},
            "multipart/form-data": ImportFile,
        },
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
        asked = _ask(self.opened, asked_of(request))
        body = {"import": ImportOut(asked.imported).data, "job": JobOut(asked.job).data}
        return accepted(body, place_of(request, "job", farm=farm, job=asked.job.pk))


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


class ImportRows(InForms, FarmView):
    """The lines of an import."""

    keyset = ("line", "id")
    serializer_class = ImportRowOut
    renderer_classes = renderers(CsvRenderer)

    def get_queryset(self) -> QuerySet[ImportRow]:
        imported = imports.import_of(self.opened, self.kwargs["import_id"])
        return ImportRow.objects.for_farm(self.opened.farm).filter(imported=imported)

    @extend_schema(
        summary="Read what became of every line",
        description="In the order of the file: as sent, the outcome, and every doubtful value with its reason. As CSV, "
        "all of them at once, a line a finding (a file has at most 20,000 lines).",
        parameters=[
            form_parameter("csv"),
            OpenApiParameter("outcome", str, enum=LineOutcome.values, description="Only lines of this outcome."),
            OpenApiParameter("with_findings", bool, description="Only lines with, or only lines without findings."),
        ],
        responses=in_forms(ImportRowOut(many=True), csv=OpenApiTypes.STR),
        tags=["imports"],
        examples=[
            OpenApiExample("A doubtful line", value=ROW_EXAMPLE, response_only=True, media_type="application/json"),
            OpenApiExample("The report", value=REPORT_EXAMPLE, response_only=True, media_type=CSV),
        ],
    )
    def get(self, request: Request, farm: uuid.UUID, import_id: uuid.UUID) -> HttpResponseBase:  # noqa: ARG002
        query = StrictQuery.of(
            request,
            paged=True,
            **{"as": form_field("csv")},
            outcome=serializers.ChoiceField(choices=LineOutcome.choices),
            with_findings=StrictBooleanField(),
        )
        lines = self.get_queryset()
        wanted = query.pop("with_findings", None)
        if wanted is not None:
            lines = lines.exclude(findings=[]) if wanted else lines.filter(findings=[])
        query.pop("as", None)
        lines = lines.filter(**query)
        if form_asked(request) == CsvRenderer.format:
            whole = lines.order_by("line").iterator(chunk_size=2_000)
            return attachment("".join(report_lines(whole)), CSV, "import-report.csv")
        page = self.paginate_queryset(lines)
        return self.get_paginated_response(self.get_serializer(page, many=True).data)


def _ask(opened: OpenFarm, asked: imports.Request) -> imports.Asked:
    return record_files.ask_for_records(opened, asked) if asked.kind else imports.ask_for_import(opened, asked)


class _FileDocuments(Documents):
    """Lines of a file of records: an old notebook may know the season and no more."""

    def said(self, kind: Kind, document: Mapping[str, Any]) -> dict[str, Any]:
        sent = sent_by(kind)(data=document)
        sent.fields["observed_at"].required = False
        sent.is_valid(raise_exception=True)
        return dict(sent.validated_data)


record_files.register(_FileDocuments())
