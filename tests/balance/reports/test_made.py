"""A report is asked for once, made at one point in time, and says what is on record."""

from __future__ import annotations

import pytest

from balance.reports.document import check_code_of

WHEN = "2027-01-16T10:02:00-05:00"


def weigh(desk, place: int, pounds: float) -> None:
    sent = {"vine": str(desk.yard.vines[place - 1].pk), "observed_at": WHEN}
    weight = {"pruning_weight": {"value": pounds, "unit": "lb"}}
    assert desk.yard.client.post(f"{desk.yard.url}/dormant-records", sent | weight, format="json").status_code == 201


def prunings_of(document):
    return document["blocks"][0]["sections"][0]


def test_a_block_without_weights_says_so_and_has_no_number(desk):
    section = prunings_of(desk.document(desk.made()))
    assert section["figures"] == []
    assert section["reason"].startswith("No vine of the block was weighed")


def test_what_was_weighed_is_told_in_the_units_that_were_chosen(desk):
    weigh(desk, 1, 2)
    weigh(desk, 2, 3)
    metric, us = (prunings_of(desk.document(desk.made(units=units)))["figures"][0] for units in ("metric", "us"))
    assert (us["unit"], us["value"], us["n"]) == ("lb", 2.5, 2)
    assert (metric["unit"], round(metric["value"], 6)) == ("kg", round(2.5 * 0.45359237, 6))


def test_the_check_code_is_that_of_everything_it_says(desk):
    report = desk.made()
    document = desk.document(report)
    assert report["check_code"] == document["check_code"] == check_code_of(document)


def test_asking_again_while_it_is_being_made_gives_the_same(desk):
    first, second = desk.ask().json(), desk.ask().json()
    assert first["id"] == second["id"]


@pytest.mark.parametrize("made", [False, True])
def test_an_id_that_is_known_with_other_content_is_refused_and_shows_what_stands(desk, made):
    known = desk.made(season=2026, units="us") if made else desk.ask(season=2026, units="us").json()
    refused = desk.ask(season=2026, units="metric", id=known["id"])
    assert (refused.status_code, refused.json()["code"]) == (409, "id_in_use")
    assert refused.json()["current"]["units"] == "us"
