"""The forms of a program's report: whole, the same bytes from the same document, and text in them is only text."""

from __future__ import annotations

import io
import uuid
import zipfile
from datetime import UTC, datetime

import pypdfium2
import pytest
from python_calamine import CalamineWorkbook

from balance.models import ProgramReport
from balance.reports.programs.composing import compose
from balance.reports.programs.document import Released, as_json
from balance.reports.programs.forms import as_html, as_pdf, tables
from balance.reports.programs.releasing import release_season
from balance.reports.programs.rendering import FORMS
from records.models import Program
from tests.balance.reports.test_program_release import block, cordons, farm

HOSTILE = '=1+1<script>alert(1)</script>"><img src=x onerror=alert(1)>#eval("1")\u202e'
PROGRAM = uuid.UUID(int=7)
MOMENT = datetime(2026, 11, 20, 15, 4, 6, tzinfo=UTC)


def document(name="Harrow Vale Growers (invented)", region="Harrow Vale (invented)", units="us", farms=8):
    """Give the report of eight growers, or of fewer, whose region is written as the program's."""
    released = release_season([farm(n, block(region), cordons=cordons(2)) for n in range(farms)], 2026)
    asked = ProgramReport(program=Program(id=PROGRAM, name=name, region=region), season=2026, units=units)
    return as_json(compose(asked, released, MOMENT, "1.0.0"))


@pytest.mark.parametrize("form", FORMS)
def test_the_same_document_gives_the_same_bytes(form):
    assert FORMS[form].render(document()) == FORMS[form].render(document())


def test_what_was_released_is_read_back_as_it_was():
    said = document()
    assert as_json(compose(
        ProgramReport(program=Program(id=said["program"], name=said["program_name"], region=said["region"]),
                      season=2026, units="us"),
        Released.of(said["released"]), MOMENT, "1.0.0",
    ))["released"] == said["released"]  # fmt: skip


def test_hostile_text_is_shown_as_text_on_the_page():
    page = as_html.render(document(HOSTILE, HOSTILE)).decode()
    assert "<script" not in page
    assert "<img src=x" not in page
    assert "&lt;script&gt;alert(1)&lt;/script&gt;" in page


def test_hostile_text_is_no_formula_in_the_tables():
    said = document(HOSTILE, HOSTILE)
    with zipfile.ZipFile(io.BytesIO(tables.csv_of(said))) as archive:
        groups = archive.read("vine_size_by_region.csv").decode("utf-8-sig")
    assert "\r\n'=1+1" in groups or "\r\n\"'=1+1" in groups
    with zipfile.ZipFile(io.BytesIO(tables.xlsx_of(said))) as book:
        assert not [name for name in book.namelist() if b"<f>" in book.read(name)]


def test_hostile_text_is_set_as_text_in_the_pdf():
    pdf = as_pdf.render(document(HOSTILE, HOSTILE))
    words = "".join(page.get_textpage().get_text_bounded() for page in pypdfium2.PdfDocument(pdf))
    assert '#eval("1")' in words.replace("\r\n", "").replace(" ", "")
    assert b"/JavaScript" not in pdf


def test_the_tables_are_those_of_the_sections_and_none_is_by_block():
    said = document()
    book = CalamineWorkbook.from_filelike(io.BytesIO(tables.xlsx_of(said)))
    assert "All figures" in book.sheet_names
    headings = {name: book.get_sheet_by_name(name).to_python()[0] for name in book.sheet_names}
    assert not [name for name, head in headings.items() if "Block" in head]
    sheets = {sheet.name for sheet in tables.sheets_of_program(said)}
    wanted = {table["code"] for section in said["sections"] for table in section["tables"]}
    assert wanted <= sheets


def test_the_pdf_says_every_title_every_sentence_and_the_check_code():
    said = document()
    words = "".join(page.get_textpage().get_text_bounded() for page in pypdfium2.PdfDocument(as_pdf.render(said)))
    flat = "".join(words.split())
    for section in said["sections"]:
        assert "".join(section["title"].split()) in flat
        for sentence in section["sentences"]:
            assert "".join(sentence.split()) in flat, sentence
    assert said["check_code"][:16] in flat


def test_a_report_of_too_few_growers_is_made_in_every_form_and_holds_no_number():
    said = document(farms=3)
    for rendered in FORMS.values():
        assert rendered.render(said)
    assert "0.9" not in as_html.render(said).decode().partition("<main")[2].partition("</main>")[0]
