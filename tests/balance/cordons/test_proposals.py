"""What the farm's own thresholds propose: recounted by hand, from the newest look at each cordon, never latched."""

from __future__ import annotations

import uuid
from typing import Any

import pytest

from balance.cordons.proposals import MOST_CORDONS
from records.kinds.definitions import CORDON_INSPECTION, VINE_EVENT
from records.services.vineyards import create_block, create_row, plant_row
from tests.records.yard import Yard

pytestmark = pytest.mark.django_db


class Failing:
    """A yard, ways to look at its cordons, and what is proposed for them."""

    def __init__(self, yard: Yard, owner: Any) -> None:
        self.yard, self.owner = yard, owner

    def set(self, block: Any = None, **thresholds: Any) -> Any:
        sent = {**thresholds, **({} if block is None else {"block": str(block.pk)})}
        answer = self.owner.client.post(f"{self.yard.url}/cordon-settings", sent, format="json")
        assert answer.status_code == 201, answer.json()
        return answer.json()

    def look(self, day: str, *, vine: int = 0, cordon: str = "left", **seen: Any) -> str:
        """Look at a cordon on a day; gives the id of the inspection."""
        body = {
            "id": str(uuid.uuid4()),
            "vine": str(self.yard.vines[vine].pk),
            "observed_at": f"{day}T12:00:00-05:00",
            "cordon": cordon,
            **seen,
        }
        answer = self.yard.post(CORDON_INSPECTION, body)
        assert answer.status_code == 201, answer.json()
        return str(answer.json()["id"])

    def happens(self, event: str, day: str, *, vine: int = 0) -> None:
        body = {"id": str(uuid.uuid4()), "vine": str(self.yard.vines[vine].pk), "event": event}
        answer = self.yard.post(VINE_EVENT, {**body, "observed_at": f"{day}T12:00:00-05:00", "happened_on": day})
        assert answer.status_code == 201, answer.json()

    def answer(self, query: str = "season=2026") -> Any:
        return self.yard.client.get(f"{self.yard.url}/cordon-proposals?{query}")

    def proposed(self, query: str = "season=2026") -> list[dict[str, Any]]:
        answer = self.answer(query)
        assert answer.status_code == 200, answer.json()
        body: list[dict[str, Any]] = answer.json()["results"]
        return body

    def told(self, query: str = "season=2026") -> list[tuple[int, str, list[str]]]:
        return [(it["place"], it["cordon"], it["case"]["reasons"]) for it in self.proposed(query)]

    def accept(self, proposal: dict[str, Any]) -> Any:
        return self.yard.client.post(f"{self.yard.url}/cordon-cases", proposal["case"], format="json")

    def step(self, case: dict[str, Any], step: str, day: str) -> None:
        url = f"{self.yard.url}/cordon-cases/{case['id']}/steps"
        sent = {"step": step, "happened_on": day}
        answer = self.yard.client.post(url, sent, format="json", headers={"If-Match": "*"})
        assert answer.status_code == 201, answer.json()


@pytest.fixture
def failing(cast) -> Failing:
    return Failing(Yard(cast), cast.owner)


def test_without_a_threshold_nothing_is_proposed_and_the_answer_says_why_and_how_to_set_one(failing):
    failing.set(minutes_a_task={"unwrap": 6})
    failing.look("2026-01-10", living_positions=0, blank_positions=10)
    body = failing.answer().json()
    assert (body["count"], body["results"], body["blocks"], body["blocks_without_thresholds"]) == (0, [], 1, 1)
    assert "No threshold is set" in body["says"]
    assert "cordon-settings" in body["says"]


def test_a_proposal_shows_what_was_measured_beside_the_threshold_as_both_were_sent(failing):
    settings = failing.set(blank_share_percent=40, blank_length={"value": 3, "unit": "ft"}, fewest_living_positions=7)
    inspection = failing.look(
        "2026-01-10", living_positions=6, blank_positions=4,
        cordon_length={"value": 2, "unit": "m"}, blank_length={"value": 91.44, "unit": "cm"},
    )  # fmt: skip
    (proposal,) = failing.proposed()
    assert [(it["reason"], it["measured"], it["threshold"]) for it in proposal["reasons"]] == [
        ("blank_share", {"value": 40, "unit": "%"}, {"value": 40, "unit": "%"}),
        ("blank_length", {"value": 91.44, "unit": "cm"}, {"value": 3, "unit": "[ft_i]"}),
        ("few_positions", {"value": 6, "unit": "1"}, {"value": 7, "unit": "1"}),
    ]
    assert (proposal["scope"], proposal["cordon"], proposal["season"]) == ("cordon", "left", 2026)
    assert (proposal["inspection"], proposal["settings"]) == (inspection, settings["id"])
    assert all(it["inspection"] == inspection for it in proposal["reasons"])
    assert {it["source"] for it in proposal["reasons"]} == {"the farm's own threshold"}


@pytest.mark.parametrize(
    ("thresholds", "seen", "reasons"),
    [
        ({"blank_share_percent": 40}, {"living_positions": 61, "blank_positions": 40}, []),  # 39.6 %
        ({"blank_share_percent": 40}, {"living_positions": 60, "blank_positions": 40}, ["blank_share"]),
        ({"blank_share_percent": 40}, {"blank_positions": 40}, []),  # not counted is not zero
        ({"blank_share_percent": 40}, {"living_positions": 0, "blank_positions": 0}, []),  # no position, no share
        ({"fewest_living_positions": 4}, {"living_positions": 4}, []),
        ({"fewest_living_positions": 4}, {"living_positions": 0}, ["few_positions"]),
        ({"fewest_living_positions": 4}, {"blank_positions": 9}, []),
        ({"dieback_length": {"value": 1, "unit": "ft"}}, {"dieback_length": {"value": 30.4, "unit": "cm"}}, []),
        ({"dieback_length": {"value": 1, "unit": "ft"}}, {"dieback_length": {"value": 12, "unit": "in"}}, ["dieback"]),
        ({"dieback_length": {"value": 1, "unit": "ft"}}, {"blank_length": {"value": 12, "unit": "in"}}, []),
        ({"years_in_decline": 1}, {"living_positions": 1}, []),  # one season says nothing of a decline
    ],
)  # fmt: skip
def test_a_threshold_proposes_from_its_number_on_and_only_what_was_measured(thresholds, seen, reasons, failing):
    failing.set(**thresholds)
    failing.look("2026-01-10", **seen)
    assert [it["case"]["reasons"] for it in failing.proposed()] == ([reasons] if reasons else [])


def test_what_is_proposed_can_be_posted_back_as_it_is_and_is_then_proposed_no_more(failing):
    failing.set(blank_share_percent=40)
    inspection = failing.look("2026-01-10", living_positions=5, blank_positions=5)
    (proposal,) = failing.proposed()
    opened = failing.accept(proposal)
    assert opened.status_code == 201, opened.json()
    case = opened.json()
    assert (case["scope"], case["cordon"], case["reasons"]) == ("cordon", "left", ["blank_share"])
    assert (case["noticed_on"], case["step"]) == ("2026-01-10", "noticed")
    whole = failing.yard.client.get(f"{failing.yard.url}/cordon-cases/{case['id']}").json()
    assert whole["steps"][0]["inspection"] == inspection
    assert failing.proposed() == []
    again = failing.accept(proposal)
    assert (again.status_code, again.json()["current"]["id"]) == (409, case["id"])


def test_a_withdrawn_case_bars_nothing(failing):
    failing.set(fewest_living_positions=4)
    failing.look("2026-01-10", living_positions=2)
    case = failing.accept(failing.proposed()[0]).json()
    url = f"{failing.yard.url}/cordon-cases/{case['id']}"
    assert failing.yard.client.delete(url, headers={"If-Match": "*"}).status_code == 200
    assert failing.told() == [(1, "left", ["few_positions"])]


def test_of_a_vine_with_more_than_one_failing_cordon_the_whole_is_proposed_and_can_be_posted_back(failing):
    """Univ. California trunk-disease extension pages (READ): one cordon, that cordon; more than one, the whole vine."""
    failing.set(fewest_living_positions=4)
    failing.look("2025-01-10", cordon="left", living_positions=2)
    newest = failing.look("2026-01-10", cordon="right", living_positions=3)
    (proposal,) = failing.proposed()
    assert (proposal["scope"], proposal["cordon"], proposal["inspection"]) == ("vine", "", newest)
    told = [(it["reason"], it["cordon"], it["measured"]["value"]) for it in proposal["reasons"]]
    assert told == [("few_positions", "left", 2), ("few_positions", "right", 3), ("more_than_one_cordon", "", 2)]
    assert "Univ. California" in proposal["reasons"][2]["source"]
    case = failing.accept(proposal)
    assert case.status_code == 201, case.json()
    assert (case.json()["scope"], case.json()["reasons"]) == ("vine", ["few_positions", "more_than_one_cordon"])
    assert failing.proposed() == []  # a case of the whole vine stands for each of its cordons


def test_while_one_cordon_is_being_replaced_another_is_proposed_by_itself(failing):
    failing.set(fewest_living_positions=4)
    failing.look("2025-01-10", cordon="left", living_positions=2)
    failing.accept(failing.proposed()[0])
    for cordon in ("right", "head"):
        failing.look("2026-01-10", cordon=cordon, living_positions=1)
    assert failing.told() == [(1, "head", ["few_positions"]), (1, "right", ["few_positions"])]


def test_only_the_newest_inspection_counts_so_nothing_is_latched(failing):
    failing.set(fewest_living_positions=4)
    failing.look("2025-01-10", living_positions=2)
    failing.look("2026-01-10", living_positions=3)
    failing.look("2026-02-10", living_positions=8)
    assert failing.told() == []
    assert failing.told("season=2025") == [(1, "left", ["few_positions"])]
    assert failing.told("season=2024") == []


def test_an_inspection_that_was_withdrawn_counts_no_more(failing):
    failing.set(fewest_living_positions=4)
    failing.look("2025-01-10", living_positions=9)
    mistake = failing.look("2026-01-10", living_positions=1)
    url = f"{failing.yard.url}/{CORDON_INSPECTION.path}/{mistake}"
    assert failing.yard.client.delete(url, headers={"If-Match": "*"}).status_code in {200, 204}
    assert failing.told() == []


@pytest.mark.parametrize(
    ("living", "years"),
    [
        ({2022: 9, 2023: 8, 2024: 7, 2025: 6, 2026: 5}, 4),
        ({2023: 5, 2024: 9, 2025: 6, 2026: 5}, 2),  # it recovered in 2024
        ({2023: 9, 2024: 7, 2025: 7, 2026: 5}, 1),  # as many as before is no decline
        ({2024: 7, 2025: 5, 2026: 6}, 0),
        ({2020: 9, 2022: 8, 2026: 5}, 2),  # seasons without an inspection neither count nor end it
        ({2024: 9, 2025: None, 2026: 5}, 1),  # nor does one in which nobody counted
        ({2024: 9, 2025: 5, 2026: None}, 0),  # but the newest has to say it
    ],
)
def test_years_in_decline_are_inspected_seasons_running_up_to_the_newest(living, years, failing):
    failing.set(years_in_decline=1)
    for season, positions in living.items():
        failing.look(f"{season}-01-10", **({"creep": {"value": 1, "unit": "in"}} if positions is None else
                                           {"living_positions": positions}))  # fmt: skip
    told = [reason["measured"]["value"] for proposal in failing.proposed() for reason in proposal["reasons"]]
    assert told == ([years] if years else [])


def test_a_vine_that_is_missing_is_not_proposed_and_one_that_was_replanted_begins_anew(failing):
    failing.set(fewest_living_positions=4)
    failing.look("2024-01-10", living_positions=0)
    failing.happens("missing", "2025-01-10")
    assert (failing.told("season=2024"), failing.told("season=2025")) == ([(1, "left", ["few_positions"])], [])
    failing.happens("replanted", "2025-04-20")
    assert failing.told() == []
    failing.look("2026-01-10", living_positions=1)
    assert failing.told() == [(1, "left", ["few_positions"])]


def test_a_look_before_the_vine_was_retrained_in_the_same_season_is_of_the_old_cordon(failing):
    failing.set(fewest_living_positions=4)
    failing.look("2026-01-10", vine=0, living_positions=0)
    failing.look("2026-05-10", vine=1, living_positions=0)
    for vine in (0, 1):
        failing.happens("retrained", "2026-04-20", vine=vine)
    assert failing.told() == [(2, "left", ["few_positions"])]


def test_after_a_case_that_was_given_up_it_takes_a_newer_look_and_the_years_go_on(failing):
    failing.set(years_in_decline=2)
    for season, living in ((2022, 9), (2023, 8), (2024, 7)):
        failing.look(f"{season}-01-10", living_positions=living)
    case = failing.accept(failing.proposed()[0]).json()
    failing.step(case, "given_up", "2025-01-10")
    assert failing.told() == []
    failing.look("2025-01-10", living_positions=6)  # of the very day, so it was known
    assert failing.told() == []
    failing.look("2025-01-11", living_positions=6)
    (proposal,) = failing.proposed()
    assert proposal["reasons"][0]["measured"]["value"] == 3
    assert failing.accept(proposal).status_code == 201


def test_an_arm_that_bears_begins_anew(failing):
    failing.set(years_in_decline=2, fewest_living_positions=3)
    for season, living in ((2021, 9), (2022, 2)):
        failing.look(f"{season}-01-10", living_positions=living)
    case = failing.accept(failing.proposed()[0]).json()
    for step, day in (("laid_down", "2022-02-10"), ("bearing", "2023-09-10")):
        failing.step(case, step, day)
    assert failing.told() == []
    for season, living, told in ((2024, 8, []), (2025, 7, []), (2026, 6, [(1, "left", ["years_in_decline"])])):
        failing.look(f"{season}-01-10", living_positions=living)
        assert failing.told() == told


def test_a_blocks_own_thresholds_hold_whole_and_another_block_keeps_the_farms(failing, cast):
    from records.access import enter, open_farm
    from records.models import Vine

    enter(cast.owner.caller)
    opened = open_farm(cast.owner.caller, cast.farm.pk)
    other = create_block(opened, None, {"name": "Upper Terrace (invented)"}).row
    plant_row(opened, create_row(opened, other, None, 7).row, 3)
    failing.yard.vines += list(Vine.objects.for_farm(cast.farm).filter(block=other).order_by("place"))
    failing.set(fewest_living_positions=4)
    failing.set(block=failing.yard.block, blank_share_percent=90)
    for vine in (0, 13):
        failing.look("2026-01-10", vine=vine, living_positions=2, blank_positions=2)
    assert failing.told() == [(2, "left", ["few_positions"])]
    assert failing.proposed()[0]["block_name"] == "Upper Terrace (invented)"
    assert failing.told(f"season=2026&block={failing.yard.block.pk}") == []
    assert len(failing.told(f"season=2026&block={other.pk}")) == 1
    assert [failing.told(f"season=2026&row_number={row}") for row in (1,)] == [[]]
    assert len(failing.told("season=2026&row_number=7")) == 1


def test_without_a_season_every_look_up_to_today_counts(failing):
    failing.set(fewest_living_positions=4)
    failing.look("2026-01-10", living_positions=2)
    assert len(failing.proposed("")) == 1


@pytest.mark.parametrize(
    ("query", "status", "pointer"),
    [("season=1700", 400, "season"), ("row_number=0", 400, "row_number"), ("blok=1", 400, "blok"),
     ("block=01991b5e-0000-7000-8000-0000000b10c1", 422, "block")],
)  # fmt: skip
def test_what_cannot_be_asked_is_named(query, status, pointer, failing):
    answer = failing.answer(query)
    assert answer.status_code == status, answer.json()
    assert pointer in str(answer.json()["errors"][0])


def test_more_than_can_be_answered_at_once_is_refused_with_the_way_out(failing, monkeypatch):
    failing.set(fewest_living_positions=4)
    for vine in range(3):
        failing.look("2026-01-10", vine=vine, living_positions=2)
    assert MOST_CORDONS >= 1000
    monkeypatch.setattr("balance.cordons.proposals.MOST_CORDONS", 2)
    answer = failing.answer()
    assert (answer.status_code, answer.json()["errors"][0]["code"]) == (422, "too_many_cordons")
    monkeypatch.setattr("balance.cordons.proposals.MOST_VINES", 5)
    answer = failing.answer()
    assert (answer.status_code, answer.json()["errors"][0]["code"]) == (422, "too_many_vines")


def test_a_list_of_any_length_takes_the_same_number_of_queries(failing, django_assert_max_num_queries):
    failing.set(fewest_living_positions=4)
    for vine in range(12):
        failing.look("2026-01-10", vine=vine, living_positions=2)
    with django_assert_max_num_queries(14):
        assert len(failing.proposed()) == 12


def test_in_walking_order_with_a_sentence_for_the_row(failing):
    failing.set(fewest_living_positions=4)
    for vine in (7, 2):
        failing.look("2026-01-10", vine=vine, living_positions=2)
    assert [it["place"] for it in failing.proposed()] == [3, 8]
    assert failing.proposed()[0]["sentence"] == "left cordon, season 2026: 2 spur positions live (proposed below 4)"


def test_the_last_living_position_is_told_in_the_singular(failing):
    failing.set(fewest_living_positions=4)
    failing.look("2026-01-10", vine=2, living_positions=1)
    assert failing.proposed()[0]["sentence"] == "left cordon, season 2026: 1 spur position lives (proposed below 4)"
