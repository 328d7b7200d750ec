"""Files of records of every kind: templates, and files taken in by the kind's own rules."""

from __future__ import annotations

from typing import Any

import pytest

from records.api.kind_examples import NEW
from records.imports.reading import read_table
from records.kinds import KINDS
from records.kinds.members import Measured
from records.models import BudSample, DormantRecord, ShootCount
from records.services.recording import MODELS
from tests.records.desk import CSV
from tests.records.office import filled, outcomes, send, template

pytestmark = pytest.mark.django_db
EVERY_KIND = pytest.mark.parametrize("kind", KINDS.values(), ids=list(KINDS))


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
    assert (answer.status_code, answer.json()["errors"][0]["parameter"]) == (422, member)
