"""A season of a program is told by reports or by benchmarks: who has both could subtract one from the other."""

from __future__ import annotations

import uuid
from typing import Any

import pytest

from balance.benchmarks import making as benchmarks
from balance.reports.programs import making as reports
from tests.balance.reports.village import Village

pytestmark = [pytest.mark.django_db(transaction=True), pytest.mark.timeout(300)]


@pytest.fixture
def village(cast) -> Village:
    found = Village(cast)
    for grower in found.growers:
        grower.consents(found.program, "benchmarks")
    return found


def told(village: Village, what: str, season: int, making: Any) -> dict[str, Any]:
    """Ask for a report or for benchmarks, let a worker make it, and give what the lead is shown."""
    url = f"/api/v1/programs/{village.program.pk}/{what}"
    sent = {"season": season, "units": "metric"} if what == "reports" else {"season": season}
    asked = village.lead.client.post(url, sent, format="json")
    assert asked.status_code == 202, asked.json()
    making.run(uuid.UUID(asked.json()["id"]))
    shown: dict[str, Any] = village.lead.client.get(f"{url}/{asked.json()['id']}").json()
    return shown


def test_benchmarks_of_a_season_that_a_report_has_told_are_refused_with_the_reason(village):
    assert told(village, "reports", 2026, reports)["state"] == "succeeded"
    refused = told(village, "benchmarks", 2026, benchmarks)
    assert (refused["state"], "by subtraction" in refused["failure"]) == ("failed", True)
    assert told(village, "reports", 2026, reports)["state"] == "succeeded"  # the same again shows nothing new


def test_a_report_of_a_season_that_benchmarks_have_told_is_refused_with_the_reason(village):
    assert told(village, "benchmarks", 2026, benchmarks)["state"] == "succeeded"
    refused = told(village, "reports", 2026, reports)
    assert (refused["state"], "by subtraction" in refused["failure"]) == ("failed", True)


def test_a_report_that_told_nothing_keeps_no_benchmarks_away(cast):
    few = Village(cast, many=3)
    for grower in few.growers:
        grower.consents(few.program, "benchmarks")
    assert told(few, "reports", 2026, reports)["state"] == "succeeded"
    assert told(few, "benchmarks", 2026, benchmarks)["state"] == "succeeded"
