"""The tables of a report as CSV and as a workbook: whole, exact, and nothing in them is a formula."""

from __future__ import annotations

import csv
import io
import re
import zipfile
from typing import Any

import pytest
from python_calamine import CalamineWorkbook

from balance.reports.forms import as_csv, as_xlsx
from records.exporting.cells import RISKY, harmless
from tests.balance.reports import told

#: What a spreadsheet could take for something to carry out (trust.md G1), and what breaks lines and quotes.
FORMULAS = [
    "=1+1", "+1", "-1+1", "@SUM(1)", "\t=1", "\r=1", "\n=1", "|calc", "%0A=1", "\uff1d1", "\uff0b1", "\uff0d1", "\uff20A1",
    '=HYPERLINK("http://x.example","y")', "=cmd|'/c calc'!A1", "'=1", " =1", "\u00a0=1", 'a";=1', "a,=1", '"=1"',
    "http://x.example", "mailto:a@x.example", "_x000D_", "\u202e=1+1", "\u05d0\u05d1 =1", "0x10", "1e5", "TRUE",
]  # fmt: skip

NEGATIVE = re.compile(r"-\d+(\.\d+)?")


def files(document: dict[str, Any]) -> dict[str, bytes]:
    with zipfile.ZipFile(io.BytesIO(as_csv.render(document))) as archive:
        assert archive.testzip() is None
        return {name: archive.read(name) for name in archive.namelist()}


def table(document: dict[str, Any], name: str) -> list[list[str]]:
    return list(csv.reader(io.StringIO(files(document)[f"{name}.csv"].decode("utf-8-sig"), newline="")))


def book(document: dict[str, Any]) -> CalamineWorkbook:
    return CalamineWorkbook.from_filelike(io.BytesIO(as_xlsx.render(document)))


def rows(document: dict[str, Any], sheet: str) -> list[list[Any]]:
    read: list[list[Any]] = book(document).get_sheet_by_name(sheet).to_python()
    return read


@pytest.mark.parametrize("render", [as_csv.render, as_xlsx.render])
def test_the_same_document_gives_the_same_bytes(render):
    assert render(told.document()) == render(told.document())


def test_the_archive_holds_each_table_once_and_says_what_they_are():
    found = files(told.document())
    names = ["README.txt", "counts_against_targets.csv", "figures.csv", "sentences.csv", "sources.csv", "summary.csv"]
    assert list(found) == [*names, "suspicious_records.csv"]
    assert all(content.startswith(b"\xef\xbb\xbf") for name, content in found.items() if name != "README.txt")
    readme = found["README.txt"].decode()
    assert told.document()["check_code"] in readme and "2026-11-20 15:04 UTC" in readme
    assert "counts_against_targets.csv: Counts against targets, 9 lines" in readme
    assert "A vine without a weight has no target." in readme


def test_the_summary_has_a_line_a_block_and_units_in_its_headings():
    head, *lines = table(told.document(), "summary")
    said = [dict(zip(head, line, strict=True)) for line in lines]
    assert [line["Standing"] for line in said] == ["Over", "Under", "In balance", "Not known"]
    assert [line["Crop load [kg/kg]"] for line in said] == ["12.345678901", "", "", ""]
    assert said[0]["Change of mean pruning weight [lb]"] == "-0.25"


def test_a_table_of_several_blocks_stands_once_with_the_block_before_each_line():
    head, *lines = table(told.document(), "counts_against_targets")
    assert head == ["Block", "Counts against targets", "Vines"]
    assert [line[0] for line in lines] == ["Lower Terrace"] * 3 + ["Upper Terrace"] * 3 + ["Hill"] * 3
    assert lines[2] == ["Lower Terrace", "Not counted", ""]


def test_tables_of_one_code_with_other_columns_are_laid_side_by_side():
    document = told.document()
    other = document["blocks"][1]["sections"][0]["tables"][0]
    other["columns"][1] |= {"code": "share", "title": "Share", "unit": "%"}
    head, *lines = table(document, "counts_against_targets")
    assert head == ["Block", "Counts against targets", "Vines", "Share [%]"]
    assert (lines[0][2:], lines[3][2:]) == (["17", ""], ["", "17"])


def test_every_figure_stands_with_what_defends_it_and_one_without_a_number_with_the_reason():
    head, *lines = table(told.document(), "figures")
    first, last = (dict(zip(head, line, strict=True)) for line in (lines[0], lines[2]))
    assert (first["Value"], first["Unit"], first["n"], first["Lower end"]) == ("12.345678901", "kg/kg", "24", "10.9")
    assert (first["Range from"], first["Range to"], first["Verdict"]) == ("5", "10", "Above the range")
    assert (last["Block"], last["Value"], last["Why there is no number"]) == ("West", "", told.NO_FIGURE.reason)


def test_an_empty_section_says_why_in_the_sentences():
    assert ["West", "Prunings, targets and counts", "No vine of the block was weighed."] in table(
        told.document(), "sentences"
    )


def test_the_workbook_says_the_same_with_the_summary_first():
    read = book(told.document())
    assert read.sheet_names[0] == "Summary" and read.sheet_names[-1] == "About this report"
    assert len(read.sheet_names) == len(files(told.document()))
    head, *lines = rows(told.document(), "Summary")
    assert dict(zip(head, lines[0], strict=True))["Crop load [kg/kg]"] == 12.345678901
    assert ["Check code", told.document()["check_code"]] in rows(told.document(), "About this report")


def test_negative_numbers_and_zero_stay_numbers_and_what_was_not_measured_stays_empty():
    lines = rows(told.document(), "Records that need a look")
    assert lines[2][1:6] == [2026.0, 4.0, 2.0, 0.0, -2.5]
    assert table(told.document(), "suspicious_records")[2][1:6] == ["2026", "4", "2", "0.0", "-2.5"]
    assert rows(told.document(), "Counts against targets")[3] == ["Lower Terrace", "Not counted", ""]


@pytest.mark.parametrize("text", FORMULAS)
def test_no_cell_of_csv_begins_like_a_formula_and_the_text_can_be_had_back(text):
    found = files(told.with_text(told.document(), text))
    del found["README.txt"]
    for content in found.values():
        cells = [cell for line in csv.reader(io.StringIO(content.decode("utf-8-sig"), newline="")) for cell in line]
        risky = [cell for cell in cells if cell.lstrip(" \u00a0").startswith(RISKY) and not cell.startswith("'")]
        assert [cell for cell in risky if not NEGATIVE.fullmatch(cell)] == []
    sentence = table(told.with_text(told.document(), text), "sentences")[1][2]
    assert sentence == harmless(text) and sentence in {text, f"'{text}"}


@pytest.mark.parametrize("text", FORMULAS)
def test_no_cell_of_the_workbook_is_a_formula_or_a_link_and_the_text_is_the_text(text):
    content = as_xlsx.render(told.with_text(told.document(), text))
    with zipfile.ZipFile(io.BytesIO(content)) as archive:
        sheets = [archive.read(name) for name in archive.namelist() if "worksheets/" in name]
        assert len(sheets) >= 6
        assert not any(b"<f" in xml or b"<hyperlink" in xml or b"http" in xml.split(b"<sheetData")[1] for xml in sheets)
    read = CalamineWorkbook.from_filelike(io.BytesIO(content))
    sentences = read.get_sheet_by_index(2).to_python()
    assert sentences[1] == [text, text, text]


def test_a_word_of_a_million_letters_is_whole_in_csv_and_cut_with_a_word_in_the_workbook():
    word = "x" * 1_000_000
    document = told.document()
    document["blocks"][0]["sections"][0]["sentences"] = [word]
    assert f'"{word}"\r\n' in files(document)["sentences.csv"].decode()
    cell = rows(document, "What is said in words")[1][2]
    assert len(cell) == as_xlsx.MOST_CHARACTERS and cell.endswith(as_xlsx.CUT)


@pytest.mark.parametrize("title", ["History", "a/b:c*d?e[f]\\g", "'", "", "x" * 200, "Summary", "SUMMARY"])
def test_any_title_gives_a_sheet_and_a_file(title):
    document = told.document()
    for page in document["blocks"][:3]:
        page["sections"][0]["tables"][0] |= {"title": title, "code": title}
    assert len(book(document).sheet_names) == len(files(document)) == 7


def test_both_are_served_as_attachments_that_no_cache_keeps(desk):
    report = desk.made()
    for form, suffix in (("csv", "zip"), ("xlsx", "xlsx")):
        answer = desk.file(report, form)
        assert answer.headers["Content-Disposition"] == f'attachment; filename="report-{report["id"]}.{suffix}"'
        assert answer.headers["Cache-Control"] == "private, no-store" and answer.content.startswith(b"PK")
