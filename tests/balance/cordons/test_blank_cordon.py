"""The share of blank cordon per block and year: sums that can be recounted, over those that said it and no others."""

from __future__ import annotations

from datetime import UTC, datetime
from types import SimpleNamespace
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from balance.formulas.cordons.blank_share import blank_share, change_of_share
from balance.formulas.errors import OutOfRange
from records.kinds.definitions import CORDON_INSPECTION
from tests.balance.cordons.test_proposals import Failing
from tests.records.yard import Yard

pytestmark = pytest.mark.django_db


@pytest.fixture
def looked(cast) -> Failing:
    return Failing(Yard(cast), cast.owner)


def ask(looked: Failing, query: str) -> Any:
    return looked.yard.client.get(f"{looked.yard.url}/blank-cordon?{query}")


def rows(looked: Failing, query: str = "from=2020&to=2026") -> list[dict[str, Any]]:
    answer = ask(looked, query)
    assert answer.status_code == 200, answer.json()
    body: list[dict[str, Any]] = answer.json()["results"]
    return body


def m(value: float) -> dict[str, Any]:
    return {"value": value, "unit": "m"}


def test_the_share_is_of_the_sums_over_the_cordons_that_said_both_sides(looked):
    looked.look("2026-01-10", vine=0, living_positions=8, blank_positions=2, cordon_length=m(1), blank_length=m(0.2))
    looked.look("2026-01-10", vine=0, cordon="right", living_positions=1, blank_positions=9)
    looked.look("2026-01-10", vine=1, blank_positions=9, cordon_length=m(1.5), blank_length=m(0.3))  # living not said
    looked.look("2026-01-10", vine=2, living_positions=7, cordon_length=m(1.2))  # nothing blank was said
    looked.look("2026-01-10", vine=3, blank_length=m(0.4))  # of a cordon of no known length
    (row,) = rows(looked)
    assert (row["season"], row["inspected"], row["block_name"]) == (2026, 5, "Lower Terrace")
    positions, length = row["positions"], row["length"]
    # 2 + 9 blank of 10 + 10; 0.2 + 0.3 m of 1 + 1.5 m
    assert (positions["cordons"], positions["blank"], positions["whole"]) == (2, 11, 20)
    assert (positions["share"]["value"], positions["share"]["unit"]) == (55, "%")
    assert (length["cordons"], length["blank"], length["whole"], length["share"]["value"]) == (2, 0.5, 2.5, 20)
    assert positions["calculation"] == "11 ÷ 20 × 100 = 55 %"
    assert {positions["share"]["verdict"], length["share"]["verdict"]} == {None}


def test_the_newest_look_at_a_cordon_in_a_season_counts_and_a_withdrawn_one_never(looked):
    looked.look("2026-01-10", living_positions=9, blank_positions=1)
    looked.look("2026-02-10", living_positions=7, blank_positions=3)
    mistake = looked.look("2026-03-10", living_positions=0, blank_positions=10)
    url = f"{looked.yard.url}/{CORDON_INSPECTION.path}/{mistake}"
    assert looked.yard.client.delete(url, headers={"If-Match": "*"}).status_code in {200, 204}
    (row,) = rows(looked)
    assert (row["inspected"], row["positions"]["share"]["value"]) == (1, 30)


def test_the_change_is_told_of_the_block_and_of_the_cordons_that_said_it_in_both_seasons(looked):
    looked.look("2025-01-10", vine=0, living_positions=9, blank_positions=1)
    looked.look("2025-01-10", vine=1, living_positions=5, blank_positions=5)
    looked.look("2026-01-10", vine=0, living_positions=7, blank_positions=3)
    looked.look("2026-01-10", vine=2, living_positions=10, blank_positions=0)
    before, row = rows(looked)
    assert (before["positions"]["share"]["value"], before["positions"]["change"]["value"]) == (30, None)
    assert "season before" in before["positions"]["change"]["reason"]
    # 6 of 20 before, 3 of 20 now; on the one that was seen twice 1 of 10 before, 3 of 10 now
    positions = row["positions"]
    assert (positions["share"]["value"], positions["change"]["value"]) == (15, -15)
    assert (positions["cordons_in_both"], positions["change_in_both"]["value"]) == (1, 20)


def test_a_season_asked_for_is_held_against_the_one_before_it_and_a_gap_is_none(looked):
    for season, blank in ((2022, 1), (2024, 2), (2025, 5)):
        looked.look(f"{season}-01-10", living_positions=10 - blank, blank_positions=blank)
    (row,) = rows(looked, "from=2025&to=2025")
    assert (row["positions"]["change"]["value"], row["positions"]["change_in_both"]["value"]) == (30, 30)
    (row,) = rows(looked, "from=2023&to=2024")  # 2022 is not the season before
    assert (row["positions"]["change"]["value"], row["positions"]["change_in_both"]["value"]) == (None, None)
    assert row["positions"]["cordons_in_both"] == 0


def test_where_nobody_said_it_there_is_a_reason_and_no_zero(looked):
    looked.look("2026-01-10", vine=0, creep=m(0.05))
    (row,) = rows(looked)
    assert (row["inspected"], row["positions"]["cordons"], row["positions"]["share"]["value"]) == (1, 0, None)
    assert "No cordon inspected" in row["length"]["share"]["reason"]
    looked.look("2026-01-10", vine=1, living_positions=0, blank_positions=0)
    (row,) = rows(looked)
    assert (row["positions"]["cordons"], row["positions"]["share"]["value"]) == (1, None)
    assert "nothing to take a share of" in row["positions"]["share"]["reason"]


def test_lengths_in_any_unit_make_one_sum(looked):
    inches = {"cordon_length": {"value": 48, "unit": "in"}, "blank_length": {"value": 1, "unit": "ft"}}
    looked.look("2026-01-10", vine=0, **inches)
    looked.look("2026-01-10", vine=1, cordon_length={"value": 121.92, "unit": "cm"}, blank_length=m(0.3048))
    (row,) = rows(looked)
    assert (row["length"]["share"]["value"], row["length"]["whole"]) == (25, pytest.approx(2.4384, rel=1e-12))


@pytest.mark.parametrize(
    ("query", "status", "pointer"),
    [("from=2026&to=2020", 422, "from"), ("from=1800", 400, "from"), ("to=next", 400, "to"),
     ("block=01991b5e-0000-7000-8000-0000000b10c1", 422, "block")],
)  # fmt: skip
def test_what_cannot_be_asked_is_named(query, status, pointer, looked):
    answer = ask(looked, query)
    assert answer.status_code == status, answer.json()
    assert pointer in str(answer.json()["errors"][0])


@pytest.mark.parametrize("limit", ["MOST_INSPECTIONS", "MOST_ROWS"])
def test_more_than_can_be_read_at_once_is_refused_with_the_way_out(limit, looked, monkeypatch):
    for season in (2024, 2025, 2026):
        looked.look(f"{season}-01-10", living_positions=5, blank_positions=5)
    monkeypatch.setattr(f"balance.cordons.blank_share.{limit}", 2)
    answer = ask(looked, "from=2020&to=2026")
    assert (answer.status_code, answer.json()["errors"][0]["code"]) == (422, "too_many_records")
    assert len(rows(looked, "from=2026&to=2026")) == 1


COUNTS = st.integers(0, 500)


@given(COUNTS, COUNTS)
def test_a_share_lies_between_nothing_and_all_and_says_what_part_of_the_whole_it_is(blank, living):
    share = blank_share(blank, blank + living)
    if blank + living == 0:
        assert share is None
        return
    assert share is not None
    assert 0 <= share <= 100
    assert share * (blank + living) / 100 == pytest.approx(blank, abs=1e-5)
    assert change_of_share(share, share) == 0


@pytest.mark.parametrize("sums", [(-1, 2), (3, 2), (float("nan"), 2), (1, float("inf"))])
def test_sums_that_cannot_be_are_refused(sums):
    with pytest.raises(OutOfRange):
        blank_share(*sums)


@pytest.mark.parametrize("path", ["blank-cordon?from=2021", "blank-cordon?from=2020"])
def test_the_last_season_is_that_of_the_farms_own_day_not_of_the_day_in_utc(path, looked, monkeypatch):
    """At two in the morning of 1 November by UTC, the last of October is still on, and with it the season."""
    at = SimpleNamespace(now=lambda: datetime(2020, 11, 1, 2, tzinfo=UTC))
    monkeypatch.setattr("balance.cordons.days.timezone", at)
    answer = looked.yard.client.get(f"{looked.yard.url}/{path}")
    assert answer.status_code == (422 if path.endswith("2021") else 200), answer.content
