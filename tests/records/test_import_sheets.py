"""Spreadsheets taken in: values only, numbers as they were typed, and no more memory than the file deserves."""

from __future__ import annotations

import datetime
import io
import zipfile
from contextlib import suppress
from decimal import Decimal
from typing import Any

import pytest
import xlsxwriter
from hypothesis import given, settings
from hypothesis import strategies as st

from records.errors import NotValid
from records.imports.reading import read_table
from records.imports.spreadsheets import MOST_BYTES
from records.models import DormantRecord
from tests.records.desk import PLAIN
from tests.records.sheets import XLSX, rewritten, workbook

VINES: list[list[Any]] = [["row", "vine", "pruning_weight"], [1, 1, 1.25], [1, 2, 3.9]]
GOOD = workbook({"S": VINES})
SHEET = "xl/worksheets/sheet1.xml"


def send(desk: Any, content: bytes, query: str = PLAIN) -> Any:
    answer = desk.worker.client.post(f"{desk.url}/imports?{query}", content, content_type=XLSX)
    return desk.carried_out(answer)


@pytest.mark.django_db
def test_a_spreadsheet_is_taken_in_like_a_csv_file(desk):
    answer = send(desk, workbook({"Vines": VINES}))
    assert [line["outcome"] for line in desk.lines(answer)] == ["created", "created"]
    assert sorted(desk.weights(answer).values()) == [1.25, 3.9]


@pytest.mark.django_db
def test_a_spreadsheet_may_come_in_a_form(desk):
    answer = desk.ask_in_a_form(workbook({"Vines": VINES}), block="Lower", season="2027", map="plain")
    desk.carried_out(answer)
    assert DormantRecord.objects.for_farm(desk.farm).count() == 2


@pytest.mark.django_db
def test_the_first_sheet_that_is_shown_is_read_and_another_by_its_name(desk):
    content = workbook({"Notes": [["nothing"]], "Vines": VINES, "More": [VINES[0], [2, 1, 0.5]]}, hidden=["Notes"])
    assert len(desk.lines(send(desk, content))) == 2
    assert len(desk.lines(send(desk, content, f"{PLAIN}&sheet=More"))) == 1


@pytest.mark.django_db
def test_a_sheet_that_is_not_there_is_refused_with_those_that_are(desk):
    answer = send(desk, workbook({"Vines": VINES}), f"{PLAIN}&sheet=Wines")
    assert (answer.status_code, answer.json()["errors"][0]["parameter"]) == (422, "sheet")
    assert "'Vines'" in answer.json()["detail"]


def cells(*rows: list[Any]) -> list[dict[str, str]]:
    content = workbook({"S": [["a", "b"], *rows]})
    return [line.values for line in read_table(content).lines]


@pytest.mark.parametrize(
    ("cell", "text"),
    [(3.9, "3.9"), (12, "12"), (0.1 + 0.2, "0.3"), (1e-7, "0.0000001"), (123456789012, "123456789012"), (-2.5, "-2.5"),
     ("007", "007"), ("=1+1", "=1+1"), (True, "true"), (datetime.date(2027, 1, 16), "2027-01-16")],
)  # fmt: skip
def test_a_cell_reads_as_a_person_typed_it(cell, text):
    assert cells([cell, "x"]) == [{"a": text, "b": "x"}]


@given(st.decimals(min_value=0, max_value=99_999, places=4))
@settings(max_examples=50)
def test_no_number_comes_back_with_other_digits(number):
    assert Decimal(cells([float(number), "x"])[0]["a"]) == number


def test_of_a_formula_the_value_is_read_that_the_file_holds():
    content = io.BytesIO()
    with xlsxwriter.Workbook(content, {"in_memory": True}) as book:
        sheet = book.add_worksheet()
        sheet.write_row(0, 0, ["a"])
        sheet.write_formula(1, 0, "=1+1", None, 40)
    assert read_table(content.getvalue()).lines[0].values == {"a": "40"}


def test_lines_keep_their_numbers_past_empty_rows_and_cells_past_the_headings_are_too_many():
    content = workbook({"S": [["a", "b"], [None, None], [1, 2, None, "stray"]]})
    (line,) = read_table(content).lines
    assert (line.number, line.extra) == (3, ("stray",))


def refusal(content: bytes) -> str:
    with pytest.raises(NotValid) as refused:
        read_table(content)
    return refused.value.detail


def test_a_sheet_that_inflates_without_end_is_refused_unread():
    spaces = b" " * 5_000_000
    bomb = rewritten(workbook({"S": VINES}), {SHEET: spaces})
    assert len(bomb) < 20_000
    assert "packed more than 200 to 1" in refusal(bomb)


def test_many_parts_that_together_come_to_too_much_are_refused():
    part = bytes(range(256)) * 4 * 1_000
    parts = {f"xl/media/{number}.bin": part for number in range(MOST_BYTES // len(part) + 1)}
    assert "inflates to more than" in refusal(rewritten(workbook({"S": VINES}), parts, zipfile.ZIP_STORED))


def test_a_part_that_is_longer_than_it_says_is_not_inflated_to_its_end():
    """The header says 100 bytes; what is packed is 5,000,000."""
    content = bytearray(rewritten(workbook({"S": VINES}), {SHEET: b"<x>" + b" " * 5_000_000}))
    at = content.rindex(b"PK\x01\x02")
    content[at + 24 : at + 28] = (100).to_bytes(4, "little")
    assert refusal(bytes(content))


@pytest.mark.parametrize("place", ["XFD1048576", "A1048576", "ZZZZ9"])
def test_one_cell_at_the_far_corner_does_not_make_room_for_all_before_it(place):
    xml = (
        '<worksheet xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main"><sheetData>'
        f'<row r="1"><c r="A1"><v>1</v></c></row><row><c r = \'{place}\'><v>1</v></c></row></sheetData></worksheet>'
    )
    assert "the sheet reaches to row" in refusal(rewritten(workbook({"S": VINES}), {SHEET: xml.encode()})).lower()


@pytest.mark.parametrize(
    ("content", "words"),
    [
        (bytes.fromhex("d0cf11e0a1b11ae1") + b"\x00" * 600, "the format before XLSX"),
        (b"PK\x03\x04 and nothing more", "cannot be read as XLSX"),
        (rewritten(workbook({"S": VINES}), {"xl/workbook.xml": b"<not"}), "cannot be read as XLSX"),
        (rewritten(workbook({"S": VINES}), {"xl/workbook.xml": b""}), "X"),
        (workbook({"S": [[]]}), "The first row of the sheet is empty"),
        (workbook({"S": [["a", "a"]]}), "stands twice in line 1"),
        (workbook({"S": [["a"], ["x" * 17_000]]}), "Line 2 has 17,000 characters"),
    ],
)
def test_a_spreadsheet_that_cannot_be_read_is_refused_with_the_way_out(content, words):
    assert words in refusal(content)


def test_a_zip_that_is_no_spreadsheet_is_refused():
    content = io.BytesIO()
    with zipfile.ZipFile(content, "w") as archive:
        archive.writestr("readme.txt", "hello")
    assert "no XLSX" in refusal(content.getvalue())


@given(st.data())
@settings(max_examples=150, deadline=None)
def test_no_broken_spreadsheet_breaks_the_service(data):
    """A few bytes of a good file are changed: it is read or refused, and nothing else happens."""
    content = bytearray(GOOD)
    for _ in range(data.draw(st.integers(1, 4))):
        content[data.draw(st.integers(4, len(content) - 1))] = data.draw(st.integers(0, 255))
    with suppress(NotValid):
        read_table(bytes(content))


@given(part=st.sampled_from([SHEET, "xl/workbook.xml", "xl/styles.xml", "xl/sharedStrings.xml", "xl/_rels/workbook.xml.rels"]),
       data=st.data())  # fmt: skip
@settings(max_examples=150, deadline=None)
def test_no_broken_part_breaks_the_service(part, data):
    good = GOOD
    with zipfile.ZipFile(io.BytesIO(good)) as archive:
        xml = bytearray(archive.read(part))
    for _ in range(data.draw(st.integers(1, 6))):
        xml[data.draw(st.integers(0, len(xml) - 1))] = data.draw(st.integers(0, 255))
    with suppress(NotValid):
        read_table(rewritten(good, {part: bytes(xml)}))
