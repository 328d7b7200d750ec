"""The work that cases ask for, as the person in the row reads it: in walking order, with reason, urgency and hours."""

from __future__ import annotations

import csv
import io
from typing import Any

import pytest
from django.db import connection

from records.kinds.definitions import CORDON_INSPECTION, VINE_EVENT
from tests.balance.cordons.test_cases import Cases
from tests.records.yard import Yard

pytestmark = pytest.mark.django_db

INSPECTION = "01991b5e-0000-7000-8000-000000001159"


@pytest.fixture
def cases(cast) -> Cases:
    return Cases(Yard(cast))


@pytest.fixture
def work(cases: Cases) -> Cases:
    """Three cases: one noticed, one with a candidate since the summer of 2023, one laid down in the winter of 2025."""
    yard = cases.yard
    cases.open(vine=str(yard.vines[4].pk), noticed_on="2025-01-10")
    chosen = cases.open(vine=str(yard.vines[8].pk), noticed_on="2023-01-10").json()
    cases.move(chosen, "candidate_chosen", "2023-07-08")
    laid = cases.open(vine=str(yard.vines[1].pk), cordon="right", noticed_on="2024-01-10").json()
    cases.move(laid, "candidate_chosen", "2024-07-01")
    cases.move(laid, "laid_down", "2025-02-03", nodes_laid_down=10)
    return cases


def ask(work: Cases, query: str) -> dict[str, Any]:
    body: dict[str, Any] = work.yard.client.get(f"{work.yard.url}/cordon-worklist?{query}").json()
    return body


def told(body: dict[str, Any]) -> list[tuple[int, str, int]]:
    return [(row["place"], row["task"], row["overdue"]) for row in body["results"]]


def test_a_winters_work_is_walked_to_in_order(work):
    body = ask(work, "season=2026&part_of_year=winter")
    assert told(body) == [(2, "unwrap", 0), (2, "check_ties", 0), (2, "fewer_nodes", 0), (9, "lay_down", 2)]
    assert (body["count"], body["vines"], body["hours"], body["without_minutes"]) == (4, 2, None, 4)
    assert body["months"] == "November 2025 to April 2026"
    assert body["results"][3]["reason"] == "left cordon: a candidate was chosen on 2023-07-08; 2 seasons overdue"


def test_each_reminder_says_what_to_do_who_says_so_and_which_vines_it_concerns(work):
    body = ask(work, "season=2026&part_of_year=winter&order=task")
    counted = {one["task"]: (one["count"], one["vines"]) for one in body["by_task"]}
    assert counted == {"lay_down": (1, 1), "unwrap": (1, 1), "check_ties": (1, 1), "fewer_nodes": (1, 1)}
    assert all(one["sentence"] and one["source"] for one in body["by_task"])
    assert "Oregon State" in body["by_task"][0]["source"]
    assert [row["task"] for row in body["results"]] == list(counted)
    assert told(ask(work, "season=2026&part_of_year=winter&task=unwrap")) == [(2, "unwrap", 0)]


def test_what_is_done_anew_each_season_is_never_overdue(work):
    late = {row["task"]: row["overdue"] for row in ask(work, "season=2028&part_of_year=winter")["results"]}
    assert late == {"unwrap": 2, "check_ties": 0, "fewer_nodes": 0, "lay_down": 4}


def test_a_vine_that_is_missing_or_replanted_since_gets_no_task_and_its_case_is_counted(work):
    yard = work.yard
    for place, event, day in [
        (1, "missing", "2025-06-01"),
        (8, "missing", "2023-08-01"),
        (8, "replanted", "2024-04-02"),
    ]:
        seen = {"vine": str(yard.vines[place].pk), "event": event, "happened_on": day, "season": int(day[:4])}
        sent = yard.post(VINE_EVENT, yard.new(VINE_EVENT, observed_at=f"{day}T10:00:00-05:00", **seen))
        assert sent.status_code == 201, sent.json()
    body = ask(work, "season=2026&part_of_year=winter")
    assert (told(body), body["without_a_vine"]) == ([], 2)
    assert told(ask(work, "season=2025&part_of_year=summer")) == [(5, "look_for_candidate", 0)]


def test_by_urgency_what_is_longest_overdue_comes_first(work):
    assert told(ask(work, "season=2026&part_of_year=winter&order=urgency"))[0] == (9, "lay_down", 2)


def test_a_summers_work_is_another(work):
    assert told(ask(work, "season=2025&part_of_year=summer")) == [(2, "check_ties", 0), (5, "look_for_candidate", 0)]


def test_a_winter_before_a_case_was_noticed_asks_nothing_of_it(work):
    assert told(ask(work, "season=2022&part_of_year=summer")) == []


def test_hours_are_the_farms_own_minutes_and_what_has_none_is_said(work, cast):
    minutes = {"unwrap": 6, "lay_down": 12}
    sent = cast.owner.client.post(f"{work.yard.url}/cordon-settings", {"minutes_a_task": minutes}, format="json")
    assert sent.status_code == 201, sent.json()
    own = {"block": str(work.yard.block.pk), "minutes_a_task": {"unwrap": 30}}
    assert cast.owner.client.post(f"{work.yard.url}/cordon-settings", own, format="json").status_code == 201
    body = ask(work, "season=2026&part_of_year=winter")
    assert (body["hours"], body["without_minutes"]) == (0.7, 2)
    assert {one["task"]: one["hours"] for one in body["by_task"]} == {
        "unwrap": 0.5,
        "lay_down": 0.2,
        "check_ties": None,
        "fewer_nodes": None,
    }
    (block,) = body["by_block"]
    assert (block["block_name"], block["vines"], block["hours"], body["by_row"]) == ("Lower Terrace", 2, 0.7, [])
    (row,) = ask(work, f"season=2026&part_of_year=winter&block={work.yard.block.pk}")["by_row"]
    assert (row["row_number"], row["count"], row["hours"]) == (1, 4, 0.7)


def test_as_csv_it_can_be_taken_along(work):
    answer = work.yard.client.get(f"{work.yard.url}/cordon-worklist?season=2026&part_of_year=winter&as=csv")
    rows = list(csv.DictReader(io.StringIO(answer.content.decode("utf-8-sig"))))
    assert answer["Content-Disposition"] == 'attachment; filename="cordons-2026-winter.csv"'
    assert [(row["place"], row["task"], row["cordon"]) for row in rows][-1] == ("9", "lay_down", "left")
    assert all(row["sentence"] and row["source"] for row in rows)


def test_more_cases_than_are_answered_at_once_are_asked_for_in_parts(work, monkeypatch):
    monkeypatch.setattr("balance.cordons.worklist.MOST_CASES", 2)
    answer = work.yard.client.get(f"{work.yard.url}/cordon-worklist?season=2026&part_of_year=winter")
    error = answer.json()["errors"][0]
    assert (answer.status_code, error["code"], error["parameter"]) == (422, "too_many_cases", "block")


def test_a_case_that_is_given_up_or_withdrawn_asks_for_nothing(work):
    for case in work.yard.client.get(work.url).json()["results"]:
        if case["step"] == "laid_down":
            assert work.move(case, "given_up", "2025-03-01").status_code == 201
        elif case["step"] == "candidate_chosen":
            work.yard.client.delete(f"{work.url}/{case['id']}", headers={"If-Match": "*"})
    assert told(ask(work, "season=2026&part_of_year=winter")) == []


def test_another_row_and_another_block_have_none_of_it(work):
    assert told(ask(work, "season=2026&part_of_year=winter&row_number=2")) == []
    assert told(ask(work, f"season=2026&part_of_year=winter&block={work.yard.vines[0].pk}")) == []


def test_a_list_of_any_length_takes_the_same_number_of_queries(work, django_assert_max_num_queries):
    with django_assert_max_num_queries(16):
        ask(work, "season=2026&part_of_year=winter")


def test_settings_are_set_once_changed_with_care_and_null_takes_a_threshold_away(work, cast):
    url, client = f"{work.yard.url}/cordon-settings", cast.owner.client
    first = client.post(url, {"blank_share_percent": 40, "blank_length": {"value": 3, "unit": "ft"}}, format="json")
    again = client.post(url, {"blank_share_percent": 50}, format="json")
    assert (first.status_code, again.status_code) == (201, 409)
    assert again.json()["current"]["blank_length"]["m"] == 0.9144
    one = f"{url}/{first.json()['id']}"
    late = client.patch(one, {"blank_share_percent": 50}, format="json", headers={"If-Match": '"7"'})
    changed = client.patch(one, {"blank_share_percent": None}, format="json", headers={"If-Match": '"1"'})
    assert (late.status_code, changed.status_code) == (412, 200)
    assert (changed.json()["blank_share_percent"], changed.json()["blank_length"]["value"]) == (None, 3)


@pytest.mark.parametrize(
    ("sent", "pointer"),
    [
        ({"blank_share_percent": 140}, "#/blank_share_percent"),
        ({"minutes_a_task": {"burn": 5}}, "#/minutes_a_task/burn"),
        ({"blank_length": {"value": 3, "unit": "kg"}}, "#/blank_length/unit"),
        ({"blank_length": {"value": 300, "unit": "m"}}, "#/blank_length"),
        ({"block": "01991b5e-0000-7000-8000-0000000b10c1", "blank_share_percent": 40}, "#/block"),
        ({"block": "01991b5e-0000-7000-8000-0000000b10c1"}, "#"),
    ],
)
def test_a_setting_that_cannot_be_is_refused_and_named(sent, pointer, work, cast):
    answer = cast.owner.client.post(f"{work.yard.url}/cordon-settings", sent, format="json")
    assert 400 <= answer.status_code < 500
    assert answer.json()["errors"][0]["pointer"] == pointer, answer.json()


@pytest.fixture
def proposed(work: Cases, cast) -> Cases:
    """A cordon of vine 7 with two living positions of ten, and a farm that acts from 40 % blank on."""
    yard = work.yard
    sent = {"blank_share_percent": 40, "minutes_a_task": {"decide": 3}}
    assert cast.owner.client.post(f"{yard.url}/cordon-settings", sent, format="json").status_code == 201
    seen = {"vine": str(yard.vines[6].pk), "cordon": "left", "living_positions": 2, "blank_positions": 8}
    seen |= {"id": INSPECTION, "observed_at": "2026-01-20T10:00:00-05:00"}
    answer = yard.post(CORDON_INSPECTION, yard.new(CORDON_INSPECTION, **seen, season=...))
    assert answer.status_code == 201, answer.json()
    return work


def test_what_the_farms_thresholds_propose_is_there_to_be_decided(proposed):
    (row,) = ask(proposed, "season=2026&part_of_year=winter&task=decide")["results"]
    assert (row["place"], row["cordon"], row["case"], row["step"], row["minutes"]) == (7, "left", None, None, 3)
    assert row["inspection"] == INSPECTION
    assert "80" in row["reason"] and "40" in row["reason"], row
    assert [place for place, _, _ in told(ask(proposed, "season=2026&part_of_year=winter"))] == [2, 2, 2, 7, 9]


def test_once_a_case_is_opened_there_is_nothing_left_to_decide(proposed):
    proposed.open(vine=str(proposed.yard.vines[6].pk), noticed_on="2026-01-20", inspection=INSPECTION)
    assert told(ask(proposed, "season=2026&part_of_year=winter&task=decide")) == []


def test_where_a_farm_has_too_many_vines_to_propose_for_the_list_says_so(proposed, monkeypatch):
    monkeypatch.setattr("balance.cordons.proposals.MOST_VINES", 3)
    body = ask(proposed, "season=2026&part_of_year=winter")
    assert "Ask block by block" in body["without_proposals"]
    assert [place for place, _, _ in told(body)] == [2, 2, 2, 9]


def test_in_the_south_a_seasons_winter_is_the_one_before_its_harvest_early_in_the_year(cases):
    with connection.cursor() as cursor:
        cursor.execute("UPDATE farm SET hemisphere = 'south' WHERE id = %s", [cases.yard.block.farm_id])
    case = cases.open(noticed_on="2024-06-10").json()
    assert told(ask(cases, "season=2025&part_of_year=summer")) == [(1, "look_for_candidate", 0)]
    assert told(ask(cases, "season=2024&part_of_year=summer")) == []
    cases.move(case, "candidate_chosen", "2025-01-15")
    body = ask(cases, "season=2026&part_of_year=winter")
    assert (told(body), body["months"]) == ([(1, "lay_down", 0)], "May 2025 to October 2025")
    cases.move(case, "laid_down", "2025-08-20")
    assert told(ask(cases, "season=2027&part_of_year=winter")) == [
        (1, "unwrap", 0),
        (1, "check_ties", 0),
        (1, "fewer_nodes", 0),
    ]
