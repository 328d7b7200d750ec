"""What a report says, as JSON: its schema is the truth, and whoever has it need not fetch it again."""

from __future__ import annotations

from dataclasses import fields
from typing import Any

import pytest
from drf_spectacular.generators import SchemaGenerator
from jsonschema import Draft202012Validator

from balance.api.reports import documents
from balance.reports import document as told_by
from balance.reports.document import check_code_of
from tests.balance.reports import told
from tests.balance.reports.test_made import weigh

SAME = {
    told_by.Figure: documents.ReportFigureOut,
    told_by.Column: documents.ReportColumnOut,
    told_by.Table: documents.ReportTableOut,
    told_by.Chart: documents.ReportChartOut,
    told_by.Section: documents.ReportSectionOut,
    told_by.Source: documents.ReportSourceOut,
    told_by.BlockLine: documents.ReportLineOut,
    told_by.BlockPage: documents.ReportBlockOut,
    told_by.FarmReport: documents.ReportDocumentOut,
}


@pytest.fixture(scope="module")
def faults() -> Any:
    """Whatever is against the schema in a document, by the OpenAPI document itself; unknown members are faults too."""
    described = SchemaGenerator().get_schema(request=None, public=True)
    components = described["components"]
    for serializer in SAME.values():
        components["schemas"][serializer.__name__]["additionalProperties"] = False
    schema = {"$ref": "#/components/schemas/ReportDocumentOut", "components": components}
    validator = Draft202012Validator(schema)
    return lambda document: [f"{error.json_path}: {error.message}" for error in validator.iter_errors(document)]


@pytest.mark.parametrize(("shape", "serializer"), SAME.items())
def test_the_schema_has_the_members_of_the_document_in_their_order(shape, serializer):
    assert list(serializer().fields) == [field.name for field in fields(shape)]


def test_a_document_is_what_its_schema_says(faults):
    assert faults(told.document(told.charts()) | {"farm": "01991b5e-0000-7000-8000-00000000fa01"}) == []


@pytest.mark.parametrize(
    ("where", "value"),
    [("season", "2026"), ("units", "imperial"), ("summary", [{"name": "x"}]), ("cautions", None), ("more", 1)],
)
def test_the_schema_finds_a_fault(faults, where, value):
    assert faults(told.document() | {where: value}) != []


def test_a_report_that_was_made_is_what_its_schema_says(desk, faults):
    weigh(desk, 1, 2)
    weigh(desk, 2, 3)
    said = desk.yard.client.get(f"{desk.url}/{desk.made()['id']}/document")
    assert (said.status_code, said.headers["Content-Type"]) == (200, "application/json")
    assert faults(said.json()) == []
    assert said.json()["check_code"] == check_code_of(said.json())


def test_it_is_the_file_that_is_kept_and_its_tag_is_the_check_code(desk):
    report = desk.made()
    said = desk.yard.client.get(f"{desk.url}/{report['id']}/document")
    assert said.content == desk.file(report, "json").content
    assert said.headers["ETag"] == f'"{report["check_code"]}"'
    assert said.headers["Cache-Control"] == "private, no-cache"


@pytest.mark.parametrize("tag", ['"{}"', 'W/"{}"', '"other", "{}"', "*"])
def test_whoever_has_it_is_told_so_and_gets_nothing(desk, tag):
    report = desk.made()
    known = {"If-None-Match": tag.format(report["check_code"])}
    said = desk.yard.client.get(f"{desk.url}/{report['id']}/document", headers=known)
    assert (said.status_code, said.content, said.headers["ETag"]) == (304, b"", f'"{report["check_code"]}"')


def test_whoever_has_another_gets_it_whole(desk):
    report = desk.made()
    said = desk.yard.client.get(f"{desk.url}/{report['id']}/document", headers={"If-None-Match": '"another"'})
    assert (said.status_code, said.json()["check_code"]) == (200, report["check_code"])


def test_until_it_is_made_there_is_none(desk):
    asked = desk.ask().json()
    said = desk.yard.client.get(f"{desk.url}/{asked['id']}/document")
    assert (said.status_code, "not made yet" in said.json()["detail"]) == (409, True)
