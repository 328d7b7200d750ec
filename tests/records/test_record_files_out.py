"""Records taken out as files: nothing is a formula, and what goes out comes back unchanged."""

from __future__ import annotations

import csv
import io

import pytest

from records.imports.reading import read_table
from records.kinds import KINDS
from records.models import RecordChange, ShootCount
from tests.records.office import fetched, outcomes, post_one, send
from tests.records.sheets import XLSX

pytestmark = pytest.mark.django_db
EVERY_KIND = pytest.mark.parametrize("kind", KINDS.values(), ids=list(KINDS))
FORMULAS = [
    "=1+1",
    "+1",
    "-x",
    "@SUM(A1)",
    "\uff1d1",
    "\uff0b1",
    "\uff0d1",
    "\uff201",
    "|x",
    "%x",
    "'quoted",
    "a,b;c",
    'say "x"',
]


@EVERY_KIND
@pytest.mark.parametrize("form", ["csv", "xlsx"])
def test_what_is_taken_out_comes_back_unchanged(form, kind, office):
    for number in range(3):
        post_one(office, kind, number, note=FORMULAS[number], device="-1")
    before = RecordChange.objects.for_farm(office.farm).count()
    content = fetched(office, kind, form)
    for more in ("&dry_run=true", "", "&existing=update"):
        answer = send(office, content, kind.name, more)
        assert outcomes(office, answer) == ["unchanged"] * 3, office.lines(answer)
    office.open()
    assert RecordChange.objects.for_farm(office.farm).count() == before


def test_a_value_changed_in_a_file_taken_out_makes_a_new_version(office):
    kind = KINDS["shoot_count"]
    for number in range(2):
        post_one(office, kind, number)
    changed = fetched(office, kind, "csv").decode().replace(",44,6,", ",45,6,", 1)
    kept = send(office, changed, kind.name)
    assert sorted(outcomes(office, kept)) == ["not_stored", "unchanged"]
    updated = send(office, changed, kind.name, "&existing=update")
    assert sorted(outcomes(office, updated)) == ["unchanged", "updated"]
    assert sorted(ShootCount.objects.for_farm(office.farm).values_list("count_shoots", "version")) == [(44, 1), (45, 2)]


def test_a_file_taken_out_before_somebody_elses_change_changes_nothing(office):
    kind = KINDS["shoot_count"]
    record = post_one(office, kind)
    content = fetched(office, kind, "csv").decode().replace(",44,6,", ",45,6,")
    address = f"{office.url}/{kind.path}/{record['id']}"
    office.worker.client.patch(address, {"count_shoots": 50}, format="json", headers={"If-Match": '"1"'})
    answer = send(office, content, kind.name, "&existing=update")
    assert outcomes(office, answer) == ["not_stored"]
    assert [code for *_, code in office.findings(answer)] == ["stale"]


@pytest.mark.parametrize("text", FORMULAS)
def test_no_cell_is_a_formula_and_every_text_can_be_had_back(text, office):
    kind = KINDS["shoot_count"]
    post_one(office, kind, note=text)
    (line,) = csv.DictReader(io.StringIO(fetched(office, kind, "csv").decode(), newline=""))
    assert line["note"][0] not in "=+-@\t\r\n|%\uff1d\uff0b\uff0d\uff20"
    assert text in {line["note"], line["note"][1:]}
    import python_calamine

    book = python_calamine.load_workbook(io.BytesIO(fetched(office, kind, "xlsx")))
    sheet = book.get_sheet_by_index(0)
    headings, values = sheet.to_python()
    assert values[headings.index("note")] == text
    assert not any(cell for row in book.get_sheet_by_index(0).to_python() for cell in row if str(cell) == "2")


def test_no_part_of_a_spreadsheet_holds_a_formula_or_a_link(office):
    import zipfile

    kind = KINDS["shoot_count"]
    for number, text in enumerate(['=HYPERLINK("http://x.example")', "http://x.example", "mailto:a@x.example"]):
        post_one(office, kind, number, note=text)
    with zipfile.ZipFile(io.BytesIO(fetched(office, kind, "xlsx"))) as archive:
        sheets = [archive.read(name) for name in archive.namelist() if "worksheets/" in name]
    assert not any(b"<f" in xml or b"hyperlink" in xml.lower().replace(b"=hyperlink", b"") for xml in sheets)


def test_a_negative_number_stays_a_number(office):
    from decimal import Decimal

    from records.files.writing import as_csv, as_xlsx

    assert as_csv(["a", "b"], [[Decimal("-2.50"), "-x"]]) == b'"a","b"\r\n-2.50,"\'-x"\r\n'
    assert read_table(as_xlsx("S", ["a", "b"], [[Decimal("-2.5"), "-x"]])).lines[0].values == {"a": "-2.5", "b": "-x"}


def test_a_quantity_stands_as_sent_with_its_unit_beside_the_canonical_value(office):
    post_one(office, KINDS["dormant_record"])
    (line,) = csv.DictReader(io.StringIO(fetched(office, KINDS["dormant_record"], "csv").decode(), newline=""))
    assert (line["pruning_weight"], line["pruning_weight_unit"], line["pruning_weight [kg]"]) == (
        "2.8", "[lb_av]", "1.270058636")  # fmt: skip
    assert (line["block"], line["row"], line["vine"]) == ("Lower Terrace", "1", "1")
    assert line["observed_at"] == "2027-01-16T10:02:00-05:00"


def test_a_file_is_bounded_and_says_where_the_next_one_is(office, monkeypatch):
    from records.api import records

    monkeypatch.setattr(records, "MOST_IN_A_FILE", 3)
    kind = KINDS["shoot_count"]
    for number in range(5):
        post_one(office, kind, number)
    answer = office.viewer.client.get(f"{office.url}/{kind.path}?as=csv&season=2027")
    lines = answer.content.decode().splitlines()
    assert (len(lines), lines[-1].startswith('"# more: http')) == (5, True)
    following = lines[-1].removeprefix('"# more: ').rstrip('"')
    assert f'<{following}>; rel="next"' in answer["Link"]
    assert len(office.viewer.client.get(following).content.decode().splitlines()) == 3
    assert outcomes(office, send(office, bytes(answer.content), kind.name)) == ["unchanged"] * 3


def test_a_file_is_saved_and_not_shown_and_kept_nowhere(office):
    answer = office.viewer.client.get(f"{office.url}/shoot-counts", headers={"Accept": XLSX})
    assert answer["Content-Type"] == XLSX
    assert answer["Content-Disposition"] == 'attachment; filename="shoot-counts.xlsx"'
    assert (answer["X-Content-Type-Options"], answer["Cache-Control"]) == ("nosniff", "private, no-store")


def test_a_stranger_takes_nothing_out(office):
    for form in ("csv", "xlsx"):
        assert office.cast.stranger.client.get(f"{office.url}/shoot-counts?as={form}").status_code == 404


def test_of_a_file_of_vines_the_records_are_taken_out_and_come_back(office):
    """They have no time, only a season."""
    office.worker = office.cast.owner
    office.send("row,vine,pruning_weight\n1,1,1.25\n", "block=Lower+Terrace&season=2027&map=plain")
    content = fetched(office, KINDS["dormant_record"], "csv")
    assert outcomes(office, send(office, content, "dormant_record")) == ["unchanged"]
