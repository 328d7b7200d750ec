"""A report that rests on what was corrected since says so; a formula recalls every report that rests on it."""

from __future__ import annotations

import io
import json
import uuid
from typing import Any

import pytest
from django.core.management import call_command
from django.db import connection

from balance.reports import corrections
from records.services import jobs

WHENEVER = {"If-Match": "*"}


class Books:
    """Weighings of the farm's vines, corrected and withdrawn, and what its reports say of that."""

    def __init__(self, desk: Any) -> None:
        self.desk, self.client, self.url = desk, desk.yard.client, f"{desk.yard.url}/dormant-records"

    def weigh(self, place: int, year: int = 2027) -> str:
        sent = {"vine": str(self.desk.yard.vines[place].pk), "observed_at": f"{year}-01-16T10:02:00-05:00"}
        weight = {"pruning_weight": {"value": 2 + place / 10, "unit": "lb"}}
        answer = self.client.post(self.url, sent | weight, format="json")
        assert answer.status_code == 201, answer.json()
        return str(answer.json()["id"])

    def correct(self, record: str, pounds: float = 3) -> None:
        sent = {"pruning_weight": {"value": pounds, "unit": "lb"}}
        answer = self.client.patch(f"{self.url}/{record}", sent, format="json", headers=WHENEVER)
        assert answer.status_code == 200, answer.json()

    def withdraw(self, record: str) -> None:
        assert self.client.delete(f"{self.url}/{record}", headers=WHENEVER).status_code == 200

    def since(self, report: Any) -> Any:
        return self.client.get(f"{self.desk.url}/{report['id']}").json()["corrected_since"]

    def listed(self, query: str) -> list[tuple[str, Any]]:
        answer = self.client.get(f"{self.desk.url}?{query}")
        assert answer.status_code == 200, answer.json()
        return [(row["id"], row["corrected_since"]) for row in answer.json()["results"]]


@pytest.fixture
def books(desk: Any) -> Books:
    return Books(desk)


def test_a_report_that_is_not_made_yet_rests_on_nothing(books, desk):
    asked = desk.ask().json()
    assert asked["corrected_since"] is None
    assert books.listed("corrected=true") == books.listed("corrected=false") == []


def test_each_record_that_was_changed_or_withdrawn_after_the_report_counts_once(books, desk):
    twice, withdrawn, _ = (books.weigh(place) for place in range(3))
    books.correct(twice, 2.4)
    report = desk.made()
    assert books.since(report) == 0
    books.correct(twice, 2.5)
    books.correct(twice, 2.6)
    assert books.since(report) == 1
    books.withdraw(withdrawn)
    assert books.since(report) == 2
    assert books.since(desk.made()) == 0, "the one that is made now has read it all"


def test_what_was_recorded_later_is_no_correction_even_if_it_was_corrected_itself(books, desk):
    report = desk.made()
    books.correct(books.weigh(0))
    assert books.since(report) == 0


def test_of_other_seasons_those_count_that_the_report_may_read(books, desk):
    """Earlier ones for the trend, the next for what the vines made of the crop, and none beyond."""
    records = {year: books.weigh(0, year) for year in (2024, 2027, 2028, 2029)}
    report = desk.made(2027)
    for year, counted in ((2029, 0), (2028, 1), (2027, 2), (2024, 3)):
        books.correct(records[year], 2.9)
        assert books.since(report) == counted, year


def test_the_list_is_narrowed_to_those_that_rest_on_a_correction_or_do_not(books, desk):
    early, late = books.weigh(0, 2024), books.weigh(1, 2029)
    reports = {season: desk.made(season)["id"] for season in (2022, 2023, 2027, 2028)}
    books.correct(early)
    assert books.listed("corrected=true") == [(reports[season], 1) for season in (2028, 2027, 2023)]
    assert books.listed("corrected=false") == [(reports[2022], 0)]
    assert books.listed("corrected=true&season=2027") == [(reports[2027], 1)]
    books.correct(late)
    assert dict(books.listed("corrected=true")) == {reports[2028]: 2, reports[2027]: 1, reports[2023]: 1}


def test_planted_corrections_are_found_every_one_and_no_other(books, desk):
    """trust.md E10, for reports: twelve reports, a correction after every third."""
    records = [books.weigh(place) for place in range(12)]
    reports = []
    for turn in range(12):
        reports.append(desk.made(2027, units=("metric", "us")[turn % 2])["id"])
        if turn % 3 == 2:
            books.correct(records[turn])
    since = dict(books.listed("limit=100"))
    assert [since[report] for report in reports] == [4, 4, 4, 3, 3, 3, 2, 2, 2, 1, 1, 1]
    assert set(dict(books.listed("corrected=true"))) == set(reports)


def test_only_the_newest_changes_are_looked_at(books, desk, monkeypatch):
    records = [books.weigh(place) for place in range(4)]
    report = desk.made()
    for record in records:
        books.correct(record)
    bounded = {
        name: getattr(corrections, name).replace("LIMIT 20000", "LIMIT 3") for name in ("_COUNTED", "_CORRECTED")
    }
    assert all("LIMIT 3" in statement for statement in bounded.values())
    for name, statement in bounded.items():
        monkeypatch.setattr(corrections, name, statement)
    assert books.since(report) == 3
    assert books.listed("corrected=true") == [(report["id"], 3)]


def test_a_page_asks_no_more_of_the_database_for_many_reports_than_for_few(books, desk, django_assert_max_num_queries):
    desk.made()

    def queries() -> int:
        with django_assert_max_num_queries(60, connection=connection) as asked:
            books.listed("corrected=false")
        return len(asked.captured_queries)

    few = queries()
    for season in range(2010, 2016):
        desk.made(season)
    assert queries() == few


def test_another_farms_corrections_are_nothing_to_this_one(books, desk):
    report = desk.made()
    stranger = desk.cast.stranger.client
    assert stranger.get(f"{desk.url}?corrected=true").status_code == 404
    assert stranger.get(f"{desk.url}/{report['id']}").status_code == 404


@pytest.mark.parametrize("query", ["corrected=maybe", "corrected=1&corrected=0", "corrected=", "corected=true"])
def test_what_is_neither_true_nor_false_is_refused(query, books, desk):
    assert books.client.get(f"{desk.url}?{query}").status_code == 400


def name_formula(desk: Any, formula: str) -> None:
    place = f"{desk.yard.url}/blocks/{desk.yard.block.pk}"
    sent = {"pruning_formula": formula}
    assert desk.cast.owner.client.patch(place, sent, format="json", headers=WHENEVER).status_code == 200


def recalled(desk: Any, formula: str) -> list[str]:
    answer = desk.yard.client.get(f"{desk.yard.url}/formulas/{formula}/reports")
    assert answer.status_code == 200, answer.json()
    return [row["id"] for row in answer.json()["results"]]


def test_a_formula_recalls_every_report_that_rests_on_it_and_no_other(desk):
    bare = desk.made()["id"]
    name_formula(desk, "american-30-10-lb@1")
    first = [desk.made(units=units)["id"] for units in ("metric", "us")]
    name_formula(desk, "concord-fixed-100@1")
    second = desk.made()["id"]
    assert recalled(desk, "american-30-10-lb@1") == [*reversed(first)]
    assert recalled(desk, "concord-fixed-100@1") == [second]
    assert bare not in {*first, second}
    assert desk.yard.client.get(f"{desk.yard.url}/formulas/american-30-10-lb@77/reports").status_code == 404
    assert desk.yard.client.get(f"{desk.yard.url}/formulas/american-30-10-lb/reports").status_code == 404


def test_the_command_counts_the_reports_beside_the_targets(desk):
    name_formula(desk, "american-30-10-lb@1")
    Books(desk).weigh(0)
    for _ in range(3):
        desk.made()
    said = io.StringIO()
    call_command("recall_formula", "american-30-10-lb@1", "--json", stdout=said)
    (line,) = [json.loads(line) for line in said.getvalue().splitlines()]
    assert (line["farm"], line["targets"], line["reports"]) == (str(desk.cast.farm.pk), 1, 3)


def test_a_report_that_was_never_made_is_not_recalled(desk):
    name_formula(desk, "american-30-10-lb@1")
    asked = desk.ask().json()
    desk.yard.client.post(f"{desk.yard.url}/jobs/{asked['job']}/cancellation")
    jobs.run(desk.cast.farm.pk, uuid.UUID(asked["job"]))
    assert recalled(desk, "american-30-10-lb@1") == []
