"""Files of records of every kind: templates, files taken in by the kind's own rules, and records taken out and back."""

from __future__ import annotations

import csv
import io
from typing import Any

import pytest

from records.access import enter, open_farm
from records.api.kind_examples import NEW
from records.imports.reading import read_table
from records.kinds import KINDS
from records.kinds.members import Measured
from records.models import BudSample, DormantRecord, RecordChange, ShootCount, Vine
from records.services.recording import MODELS
from records.services.vineyards import create_block, create_row, plant_row
from tests.records.desk import CSV
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


@pytest.fixture
def office(desk: Any) -> Any:
    """The desk, with a block of twenty vines in two rows, and the worker who may record and not plant."""
    enter(desk.cast.owner.caller)
    opened = open_farm(desk.cast.owner.caller, desk.farm.pk)
    desk.block = create_block(opened, None, {"name": "Lower Terrace"}).row
    for number in (1, 2):
        plant_row(opened, create_row(opened, desk.block, None, number).row, 10)
    desk.vines = list(Vine.objects.for_farm(desk.farm).order_by("row_number", "place"))
    desk.worker = desk.cast.worker
    return desk


def send(office: Any, content: str | bytes, kind: str, more: str = "") -> Any:
    media = XLSX if isinstance(content, bytes) and content.startswith(b"PK") else CSV
    answer = office.worker.client.post(f"{office.url}/imports?kind={kind}{more}", content, content_type=media)
    return office.carried_out(answer)


def outcomes(office: Any, answer: Any) -> list[str]:
    assert answer.status_code == 202, answer.json()
    return [line["outcome"] for line in office.lines(answer)]


def fetched(office: Any, kind: Any, form: str, query: str = "") -> bytes:
    answer = office.viewer.client.get(f"{office.url}/{kind.path}?as={form}{query}")
    assert answer.status_code == 200
    return bytes(answer.content)


def template(office: Any, kind: Any, form: str = "csv") -> bytes:
    answer = office.cast.nobody.get(f"/api/v1/templates/{kind.name}.{form}")
    assert (answer.status_code, answer["X-Content-Type-Options"]) == (200, "nosniff")
    return bytes(answer.content)


def filled(office: Any, kind: Any) -> str:
    """The template with its example made a record of row 1, vine 1 (a harvest of a vine; a bud sample of the block)."""
    rows = list(csv.reader(io.StringIO(template(office, kind).decode("utf-8-sig"))))
    rows[2][0] = "Lower Terrace"
    out = io.StringIO()
    csv.writer(out).writerows(rows)
    return out.getvalue()


def post_one(office: Any, kind: Any, number: int = 0, **more: Any) -> dict[str, Any]:
    example = {name: value for name, value in NEW[kind.name].items() if name not in {"id", "vine", "block"}}
    body = example | {"vine": str(office.vines[number].pk)} | more
    answer = office.worker.client.post(f"{office.url}/{kind.path}", body, format="json")
    assert answer.status_code == 201, answer.json()
    told: dict[str, Any] = answer.json()
    return told


# --- Templates ---------------------------------------------------------------------------------------------------


@EVERY_KIND
@pytest.mark.parametrize("form", ["csv", "xlsx"])
def test_a_template_has_headings_units_and_an_example(form, kind, office):
    table = read_table(template(office, kind, form))
    units, example = table.lines
    assert table.headings[:5] == ("block", "row", "vine", "observed_at", "season")
    assert units.values["block"] == "# units" and example.values["block"].startswith("# example")
    for member in kind.members:
        if isinstance(member, Measured):
            assert units.values[member.name] == member.unit


@EVERY_KIND
@pytest.mark.parametrize("form", ["csv", "xlsx"])
def test_a_template_sent_as_it_is_stores_nothing(form, kind, office):
    answer = send(office, template(office, kind, form), kind.name)
    assert outcomes(office, answer) == []
    assert not MODELS[kind.name].objects.for_farm(office.farm).exists()


@EVERY_KIND
def test_the_example_of_a_template_is_a_good_record(kind, office):
    answer = send(office, filled(office, kind), kind.name)
    assert outcomes(office, answer) == ["created"], office.lines(answer)
    record = MODELS[kind.name].objects.for_farm(office.farm).get()
    told = office.viewer.client.get(f"{office.url}/{kind.path}/{record.pk}").json()
    sent = {name: value for name, value in NEW[kind.name].items() if name not in {"id", "vine", "block", "observed_at"}}
    assert {name: _plain(told[name]) for name in sent} == sent
    assert told["source"] == "import"
    assert office.lines(answer)[0]["record"] == told["id"]


def _plain(value: Any) -> Any:
    """A quantity without its canonical value."""
    return {name: value[name] for name in ("value", "unit")} if isinstance(value, dict) and "value" in value else value


def test_an_unknown_kind_has_no_template(office):
    assert office.cast.nobody.get("/api/v1/templates/wine.csv").status_code == 404


# --- Taken in ----------------------------------------------------------------------------------------------------

SHOOTS = "block,row,vine,observed_at,count_shoots,non_count_shoots\n"


def test_the_row_of_units_says_what_its_column_is_weighed_in(office):
    send(office, "block,row,vine,observed_at,pruning_weight\n# units,1,1,,[lb_av]\nLower Terrace,1,1,2027-01-16,2.8\n",
         "dormant_record")  # fmt: skip
    record = DormantRecord.objects.for_farm(office.farm).get()
    assert (float(record.pruning_weight_value), record.pruning_weight_unit) == (2.8, "[lb_av]")
    assert float(record.pruning_weight_kg) == 1.270058636


def test_a_line_may_name_another_unit_than_its_column(office):
    send(office, "block,row,vine,observed_at,pruning_weight,pruning_weight_unit\n# units,1,1,,[lb_av],\n"
         "Lower Terrace,1,1,2027-01-16,1.27,kg\n", "dormant_record")  # fmt: skip
    assert DormantRecord.objects.for_farm(office.farm).get().pruning_weight_unit == "kg"


def test_a_weight_without_a_unit_is_refused_not_guessed(office):
    answer = send(office, "block,row,vine,observed_at,pruning_weight\nLower Terrace,1,1,2027-01-16,2.8\n", "dormant_record")  # fmt: skip
    assert outcomes(office, answer) == ["not_stored"]
    assert office.findings(answer) == [(2, "pruning_weight", "2.8", "required")]


def test_a_time_without_an_offset_is_the_farms_own_and_a_date_its_noon(office):
    send(office, f"{SHOOTS}Lower Terrace,1,1,2027-05-20T09:15:00,44,6\nLower Terrace,1,2,2027-05-20,40,5\n", "shoot_count")  # fmt: skip
    found = ShootCount.objects.for_farm(office.farm).order_by("vine__place")
    assert [record.observed_at.isoformat() for record in found] == [
        "2027-05-20T13:15:00+00:00",
        "2027-05-20T16:00:00+00:00",
    ]
    assert {record.observed_offset_minutes for record in found} == {-240}


@pytest.mark.parametrize(
    ("line", "column", "value", "code"),
    [
        ("Lower Terrace,1,1,2027-05-20,many,6", "count_shoots", "many", "invalid"),
        ("Lower Terrace,1,1,2027-05-20,44.5,6", "count_shoots", "44.5", "invalid"),
        ("Lower Terrace,1,1,2027-05-20,60000,6", "count_shoots", "60000", "max_value"),
        ("Lower Terrace,1,1,20 May,44,6", "observed_at", "20 May", "invalid"),
        ("Lower Terrace,1,1,,44,6", "season", "", "season_missing"),
        ("Upper Terrace,1,1,2027-05-20,44,6", "block", "Upper Terrace", "no_such_block"),
        (",1,1,2027-05-20,44,6", "block", "", "no_such_block"),
        ("Lower Terrace,1,11,2027-05-20,44,6", "vine", "11", "no_such_vine"),
        ("Lower Terrace,first,1,2027-05-20,44,6", "row", "first", "not_a_whole_number"),
        ("Lower Terrace,,,2027-05-20,44,6", "vine", "", "required"),
        ("Lower Terrace,1,1,2027-05-20,44,6,7", "non_count_shoots", "6", "ragged_line"),
    ],
)
def test_what_is_wrong_with_a_line_is_named_with_its_column_and_the_others_are_stored(
    line, column, value, code, office
):
    answer = send(office, f"{SHOOTS}{line}\nLower Terrace,1,9,2027-05-20,40,5\n", "shoot_count")
    assert outcomes(office, answer) == ["not_stored", "created"]
    assert office.findings(answer) == [(2, column, value, code)]


def test_a_heading_that_says_nothing_is_refused_with_those_that_do(office):
    answer = send(office, "block,row,vine,observed_at,count_shots\n", "shoot_count")
    assert (answer.status_code, "'count_shots'" in answer.json()["detail"]) == (422, True)
    assert "count_shoots" in answer.json()["detail"]


def test_looked_for_and_not_there_is_not_the_same_as_not_looked(office):
    head = "block,row,vine,observed_at,cordon,disease_signs,tie_too_tight\n"
    send(office, f"{head}Lower Terrace,1,1,2027-01-16,left,none,no\nLower Terrace,1,2,2027-01-16,left,,\n"
         "Lower Terrace,1,3,2027-01-16,left,wedge_canker; dead_spurs,yes\n", "cordon_inspection")  # fmt: skip
    found = MODELS["cordon_inspection"].objects.for_farm(office.farm).order_by("vine__place")
    assert list(found.values_list("disease_signs", "tie_too_tight")) == [
        ([], False), (None, None), (["wedge_canker", "dead_spurs"], True)]  # fmt: skip


def test_a_spreadsheet_may_drop_the_nought_of_a_stage(office):
    head = "block,row,vine,observed_at,growth_stage_scale,growth_stage_code\n"
    send(office, f"{head}Lower Terrace,1,1,2027-05-01,bbch,7\n", "shoot_count")
    assert ShootCount.objects.for_farm(office.farm).get().growth_stage_code == "07"


def test_a_record_of_a_block_names_no_vine(office):
    answer = send(office, "block,row,vine,observed_at,nodes_examined\nLower Terrace,,,2027-02-03,100\n", "bud_sample")
    assert outcomes(office, answer) == ["created"]
    assert BudSample.objects.for_farm(office.farm).get().vine_id is None


def test_the_same_line_is_the_same_record_in_whichever_file_it_comes(office):
    line = "Lower Terrace,1,1,2027-05-20,44,6\n"
    send(office, SHOOTS + line, "shoot_count")
    again = send(office, f"{SHOOTS}{line}Lower Terrace,1,2,2027-05-20,40,5\n", "shoot_count")
    assert outcomes(office, again) == ["unchanged", "created"]


def test_two_lines_about_one_place_are_not_both_stored(office):
    answer = send(office, f"{SHOOTS}Lower Terrace,1,1,2027-05-20,44,6\nLower Terrace,1,1,2027-05-21,45,6\n", "shoot_count")  # fmt: skip
    assert outcomes(office, answer) == ["created", "not_stored"]
    assert [code for *_, code in office.findings(answer)] == ["already_recorded"]


def test_the_same_line_twice_is_stored_once_and_named(office):
    line = "Lower Terrace,1,1,2027-05-20,44,6\n"
    answer = send(office, SHOOTS + line + line, "shoot_count")
    assert outcomes(office, answer) == ["created", "not_stored"]
    assert [code for *_, code in office.findings(answer)] == ["record_twice"]


@EVERY_KIND
def test_a_dry_run_of_a_kind_stores_nothing(kind, office):
    answer = send(office, filled(office, kind), kind.name, "&dry_run=true")
    assert outcomes(office, answer) == ["created"]
    assert not MODELS[kind.name].objects.for_farm(office.farm).exists()
    assert outcomes(office, send(office, filled(office, kind), kind.name)) == ["created"]


def test_whoever_may_not_record_any_more_stores_no_further_part(office):
    from records.services.farms import set_role

    asked = office.worker.client.post(
        f"{office.url}/imports?kind=shoot_count", f"{SHOOTS}Lower Terrace,1,1,2027-05-20,44,6\n", content_type=CSV
    )
    office.open()
    set_role(office.farm, office.cast.worker.person, "viewer")
    office.worker = office.cast.owner
    office.run(asked)
    assert office.job(asked)["state"] == "failed"
    assert not ShootCount.objects.for_farm(office.farm).exists()


@pytest.mark.parametrize(
    ("query", "member"),
    [("&map=plain", "map"), ("&season=2027", "season"), ("&existing=complete", "existing")],
)
def test_what_a_file_of_a_kind_does_not_take_is_refused(query, member, office):
    answer = send(office, f"{SHOOTS}", "shoot_count", query)
    assert (answer.status_code, answer.json()["errors"][0]["pointer"]) == (422, f"#/{member}")


# --- Taken out ---------------------------------------------------------------------------------------------------


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
