"""A program's report of every year: one wish, asked for by the sweep on its day, as long as its lead leads."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Any

import pytest

from balance.models import ProgramReport, ProgramReportSchedule
from balance.reports.programs.scheduling import ask_for_due
from balance.reports.yearly import next_time, season_over_on
from records.models import ProgramMembership

pytestmark = pytest.mark.django_db
NORTH = {"hemisphere": "north", "units": "us"}


@pytest.fixture
def url(cast) -> str:
    return f"/api/v1/programs/{cast.program.pk}/report-schedule"


def wish(cast: Any, url: str, **more: Any) -> Any:
    return cast.lead.client.post(url, {**NORTH, **more}, format="json")


def falls_due() -> None:
    ProgramReportSchedule.objects.update(next_at=datetime(2026, 11, 20, 6, tzinfo=UTC))


def test_without_a_day_it_is_the_one_after_the_seasons_end(cast, url):
    answer = wish(cast, url)
    assert answer.status_code == 201
    assert answer.headers["Location"].endswith(url)
    assert [answer.json()[name] for name in ("month", "day", "ended_because")] == [12, 1, ""]
    assert wish(cast, url, hemisphere="south").json()["month"] == 6


def test_sent_again_it_replaces_what_was_set(cast, url):
    wish(cast, url)
    answer = wish(cast, url, month=11, day=20, units="metric")
    assert (answer.status_code, answer.json()["units"]) == (200, "metric")
    assert ProgramReportSchedule.objects.count() == 1


def test_when_it_is_due_the_report_of_the_season_that_is_over_is_asked_for_once(cast, url):
    wish(cast, url, month=11, day=20)
    falls_due()
    assert (ask_for_due(), ask_for_due()) == (1, 0)
    report = ProgramReport.objects.get()
    assert (report.season, report.units, report.asked_by_id) == (2026, "us", cast.lead.person.pk)
    assert cast.lead.client.get(url).json()["next_at"] > "2026-11-20T06:00:01"


def test_a_day_that_is_met_twice_asks_once(cast, url):
    wish(cast, url, month=11, day=20)
    for _ in range(2):
        falls_due()
        ask_for_due()
    assert ProgramReport.objects.count() == 1


def test_it_ends_with_the_lead_who_set_it_and_says_so(cast, url):
    wish(cast, url)
    falls_due()
    ProgramMembership.objects.filter(program=cast.program, person=cast.lead.person).delete()
    assert ask_for_due() == 1
    assert ProgramReport.objects.count() == 0
    ProgramMembership.objects.create(program=cast.program, person=cast.lead.person)
    told = cast.lead.client.get(url).json()
    assert (told["next_at"], "does not lead" in told["ended_because"]) == (None, True)
    assert wish(cast, url).json()["next_at"] is not None


def test_a_report_that_a_lead_asks_for_at_the_same_time_is_the_same(cast, url):
    wish(cast, url)
    asked = cast.lead.client.post(
        url.replace("report-schedule", "reports"), {"season": 2026, "units": "us"}, format="json"
    )
    falls_due()
    assert (asked.status_code, ask_for_due(), ProgramReport.objects.count()) == (202, 1, 1)


def test_what_is_removed_asks_for_nothing_more(cast, url):
    wish(cast, url)
    assert cast.lead.client.delete(url).status_code == 204
    assert cast.lead.client.get(url).status_code == 404
    assert cast.lead.client.delete(url).status_code == 404


@pytest.mark.parametrize(
    ("sent", "status", "pointer"),
    [({"month": 2}, 422, "day"), ({"day": 29, "month": 2}, 400, "day"), ({"hemisphere": "east"}, 400, "hemisphere")],
)
def test_what_cannot_be_wished_is_named(sent, status, pointer, cast, url):
    answer = wish(cast, url, **sent)
    assert answer.status_code == status, answer.json()
    assert pointer in str(answer.json()["errors"])


def test_the_day_comes_every_year_and_its_season_by_the_hemisphere():
    after = datetime(2026, 12, 1, 6, tzinfo=UTC)
    assert next_time(12, 1, UTC, after) == datetime(2027, 12, 1, 6, tzinfo=UTC)
    assert next_time(12, 2, UTC, after) == datetime(2026, 12, 2, 6, tzinfo=UTC)
    assert season_over_on("north", datetime(2026, 12, 1, tzinfo=UTC)) == 2026
    assert season_over_on("south", datetime(2026, 6, 1, tzinfo=UTC)) == 2026


def test_the_sweep_asks_for_it(cast, url, monkeypatch):
    from balance.program_work import tasks

    wish(cast, url)
    falls_due()
    monkeypatch.setattr(tasks, "first_within", lambda *_: True)
    tasks.sweep_program_work()
    assert ProgramReport.objects.count() == 1
