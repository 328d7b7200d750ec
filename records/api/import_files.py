"""A file as it is sent to be taken in: as the body of the request, or in a form."""

from __future__ import annotations

import json
from collections.abc import Mapping
from typing import IO, Any, Final, cast

from drf_spectacular.utils import OpenApiParameter
from rest_framework import serializers
from rest_framework.parsers import BaseParser
from rest_framework.request import Request

from records.api.forms import CSV, XLSX
from records.api.kind_fields import WordField
from records.api.parameters import SEASON, text_of
from records.api.strict import StrictBooleanField, StrictCharField, StrictIntegerField, StrictQuery, StrictSerializer
from records.errors import NotValid
from records.imports.column_maps import ColumnMap, read_map
from records.kinds import KINDS
from records.models.imports import Existing
from records.services import imports


class CsvParser(BaseParser):
    """A CSV file as the body."""

    media_type = CSV

    def parse(
        self,
        stream: IO[Any],
        media_type: str | None = None,  # noqa: ARG002
        parser_context: Mapping[str, Any] | None = None,  # noqa: ARG002
    ) -> dict[str, Any]:
        return {"content": stream.read()}


class XlsxParser(CsvParser):
    """An XLSX file as the body."""

    media_type = XLSX


class ImportFile(StrictSerializer):
    """A file, and what the column map does not say of it."""

    file = serializers.FileField(max_length=200, help_text="The CSV or XLSX file.")
    map = StrictCharField(
        max_length=20_000, required=False, multiline=True, help_text="Name of a map, or a map as JSON."
    )
    block = StrictCharField(max_length=120, required=False, help_text="Name of the block; made if the farm has none.")
    season = StrictCharField(max_length=4, required=False, help_text="Harvest year.")
    sheet = StrictCharField(max_length=120, required=False, help_text="Of an XLSX; without it, the first shown.")
    dry_run = serializers.ChoiceField(choices=["true", "false"], required=False, help_text="Only report.")
    existing = serializers.ChoiceField(
        choices=Existing.choices, required=False, help_text="What becomes of a record that stands."
    )
    kind = WordField(tuple(KINDS), required=False, help_text="Kind of record that the file holds; without it, vines.")


PARAMETERS: Final = [
    OpenApiParameter(
        "map", text_of(60), description="A column map by its name; without it, the one that fits the headings."
    ),
    OpenApiParameter(
        "block",
        text_of(120),
        description="Name of the block; made if the farm has none of this name, which takes `manage`.",
    ),
    OpenApiParameter("season", SEASON, description="Harvest year that the winter belongs to."),
    OpenApiParameter(
        "sheet", text_of(120), description="Sheet of an XLSX file; without it, the first that is not hidden."
    ),
    OpenApiParameter("dry_run", bool, description="Only report what would become of every line; store nothing else."),
    OpenApiParameter(
        "existing",
        str,
        enum=Existing.values,
        description="What becomes of a record that stands. Of a file of vines: `complete` (as it is without this "
        "parameter) fills what is empty on it, as a new version; `keep` leaves it as it is. Of a file of one kind: "
        "`keep` (as it is without this parameter), or `update`, which changes the record of the line's id, from the "
        "version that the line names.",
    ),
    OpenApiParameter(
        "kind",
        str,
        enum=[*KINDS],
        description="Kind of record that the file holds, with the columns of its template; without it, the file is one "
        "of vines, read by a column map.",
    ),
]


def asked_of(request: Request) -> imports.Request:
    """Give what was asked for, whether the file came as the body or in a form."""
    body = cast(dict[str, Any], request.data)
    told = StrictQuery.of(
        request,
        map=StrictCharField(max_length=60),
        block=StrictCharField(max_length=120),
        season=StrictIntegerField(min_value=1900, max_value=2100),
        sheet=StrictCharField(max_length=120),
        dry_run=StrictBooleanField(),
        existing=serializers.ChoiceField(choices=Existing.choices),
        kind=WordField(tuple(KINDS)),
    )
    if request.content_type.partition(";")[0].strip().lower() in {CSV, XLSX}:
        return _asked("the body of the request", body.get("content", b""), told)
    sent = ImportFile(data=body)
    sent.is_valid(raise_exception=True)
    values: dict[str, Any] = sent.validated_data
    for twice in sorted(told.keys() & values.keys()):
        raise NotValid.at(twice, code="said_twice", detail=f"Say {twice} in the form or in the address, not in both.")
    file = values.pop("file")
    if "season" in values:
        values["season"] = _season(values["season"])
    if "dry_run" in values:
        values["dry_run"] = values["dry_run"] == "true"
    return _asked(file.name, file.read(), told | values)


def _asked(name: str, content: bytes, told: Mapping[str, Any]) -> imports.Request:
    return imports.Request(
        file_name=name,
        content=content,
        column_map=_map(told),
        block_name=told.get("block", ""),
        season=told.get("season"),
        sheet=told.get("sheet", ""),
        dry_run=told.get("dry_run", False),
        existing=told.get("existing") or (Existing.KEEP if told.get("kind") else Existing.COMPLETE).value,
        kind=told.get("kind", ""),
    )


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


def _season(text: str) -> int:
    if not (text.isascii() and text.isdecimal() and 1900 <= int(text) <= 2100):
        raise NotValid.at("season", code="out_of_range", detail="A season is a harvest year from 1900 to 2100.")
    return int(text)
