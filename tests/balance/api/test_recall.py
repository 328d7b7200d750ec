"""Recall: given a version of a formula, every target that was told by it, and whether its record still says the same."""

from __future__ import annotations

from typing import Any

import pytest

from records.kinds.definitions import DORMANT_RECORD
from tests.records.yard import Yard

pytestmark = pytest.mark.django_db

OWN = {
    "code": "own-trial",
    "label": "40+10 per lb",
    "kind": "first_and_further",
    "first_nodes": 40,
    "further_nodes": 10,
    "weight_unit": {"value": 1, "unit": "lb"},
    "source": "our own trial (invented)",
}


class Recalled(Yard):
    """A yard whose block names the farm's own formula, and the ways to weigh there and to recall."""

    def __init__(self, cast: Any) -> None:
        super().__init__(cast)
        self.cast = cast
        self.manages = cast.owner.client
        assert self.add().status_code == 201
        self.name("own-trial@1")

    def add(self, **more: Any) -> Any:
        return self.manages.post(f"{self.url}/formulas", {**OWN, **more}, format="json")

    def name(self, formula: str) -> None:
        sent = {"pruning_formula": formula}
        place = f"{self.url}/blocks/{self.block.pk}"
        assert self.manages.patch(place, sent, format="json", headers={"If-Match": "*"}).status_code == 200

    def weigh(self, vine: int, pounds: float, year: int = 2027) -> Any:
        weight = {"value": pounds, "unit": "lb"}
        sent = self.new(
            DORMANT_RECORD, vine=str(self.vines[vine].pk), pruning_weight=weight, nodes_retained=..., season=...,
            observed_at=f"{year}-01-16T10:02:00-05:00",
        )  # fmt: skip
        answer = self.post(DORMANT_RECORD, sent)
        assert answer.status_code == 201, answer.json()
        return answer.json()

    def change(self, record: Any, **members: Any) -> None:
        place = self.at(DORMANT_RECORD, record)
        assert self.client.patch(place, members, format="json", headers={"If-Match": "*"}).status_code == 200

    def told(self, formula: str = "own-trial@1", query: str = "") -> list[dict[str, Any]]:
        answer = self.client.get(f"{self.url}/formulas/{formula}/targets{query}")
        assert answer.status_code == 200, answer.json()
        rows: list[dict[str, Any]] = answer.json()["results"]
        return rows


@pytest.fixture
def yard(cast: Any) -> Recalled:
    return Recalled(cast)


def test_a_target_is_recalled_with_its_vine_its_record_and_what_was_told(yard):
    record = yard.weigh(0, 2)
    (told,) = yard.told()
    assert told == {
        "id": told["id"],
        "told_at": told["told_at"],
        "season": 2027,
        "block": str(yard.block.pk),
        "vine": record["vine"],
        "record": record["id"],
        "record_version": 1,
        "current_version": 1,
        "changed_since": False,
        "weight_changed_since": False,
        "withdrawn": False,
        "level": "block",
        "status": "ok",
        "nodes": record["target"]["nodes"],
    }
    assert told["nodes"] == 50


def test_each_version_recalls_what_was_told_by_it_and_no_other(yard):
    first = yard.weigh(0, 2)
    assert yard.add(first_nodes=44).json()["formula_version"] == 2
    yard.name("own-trial@2")
    second = yard.weigh(1, 2)
    assert [(told["record"], told["nodes"]) for told in yard.told("own-trial@1")] == [(first["id"], 50)]
    assert [(told["record"], told["nodes"]) for told in yard.told("own-trial@2")] == [(second["id"], 54)]
    assert yard.told("american-30-10-lb@1") == []


def test_a_target_whose_record_was_changed_or_withdrawn_since_is_recalled_all_the_same_and_says_so(yard):
    counted, reweighed, withdrawn = (yard.weigh(vine, 2) for vine in range(3))
    yard.change(counted, nodes_retained=50)
    yard.change(reweighed, pruning_weight={"value": 3, "unit": "lb"})
    gone = yard.client.delete(yard.at(DORMANT_RECORD, withdrawn), headers={"If-Match": "*"})
    assert gone.status_code == 200
    says = {
        (told["record"], told["record_version"]): (
            told["changed_since"],
            told["weight_changed_since"],
            told["withdrawn"],
        )
        for told in yard.told()
    }
    assert says == {
        (counted["id"], 1): (True, False, False),
        (counted["id"], 2): (False, False, False),
        (reweighed["id"], 1): (True, True, False),
        (reweighed["id"], 2): (False, False, False),
        (withdrawn["id"], 1): (True, False, True),
        (withdrawn["id"], 2): (False, False, True),  # the answer to its withdrawal told it once more
    }


def test_a_weight_that_gave_no_number_was_told_too(yard):
    yard.weigh(0, 0.5)
    (told,) = yard.told()
    assert (told["status"], told["nodes"]) == ("below_formula_range", None)


def test_one_season_is_recalled_by_itself(yard):
    yard.weigh(0, 2, 2027)
    later = yard.weigh(0, 2, 2028)
    assert len(yard.told()) == 2
    assert [told["record"] for told in yard.told(query="?season=2028")] == [later["id"]]
    assert yard.told(query="?season=2029") == []


def test_many_are_followed_page_by_page_the_last_told_first_each_once(yard):
    records = [yard.weigh(vine, 2)["id"] for vine in range(5)]
    seen, address = [], f"{yard.url}/formulas/own-trial@1/targets?limit=2&count=capped"
    while address:
        page = yard.client.get(address).json()
        seen += [told["record"] for told in page["results"]]
        assert page["count"] == 5
        address = page["next"]
    assert sorted(seen) == sorted(records)
    times = [told["told_at"] for told in yard.told()]
    assert times == sorted(times, reverse=True)


def test_a_page_asks_no_more_of_the_database_for_many_targets_than_for_few(yard, django_assert_max_num_queries):
    yard.weigh(0, 2)

    def queries() -> int:
        with django_assert_max_num_queries(60) as asked:
            yard.told()
        return len(asked.captured_queries)

    few = queries()
    for vine in range(1, 9):
        yard.weigh(vine, 2)
    assert queries() == few


def test_another_farms_formula_of_the_same_code_recalls_nothing_of_this_one(yard, cast):
    yard.weigh(0, 2)
    other = f"/api/v1/farms/{cast.other_farm.pk}"
    missing = cast.stranger.client.get(f"{other}/formulas/own-trial@1/targets")
    assert cast.stranger.client.post(f"{other}/formulas", OWN, format="json").status_code == 201
    theirs = cast.stranger.client.get(f"{other}/formulas/own-trial@1/targets")
    assert (missing.status_code, theirs.status_code, theirs.json()["results"]) == (404, 200, [])
    assert cast.stranger.client.get(f"{yard.url}/formulas/own-trial@1/targets").status_code == 404


@pytest.mark.parametrize(
    ("spelling", "query", "status"),
    [("own-trial", "", 404), ("own-trial@2", "", 404), ("own-trial@%00", "", 404), ("own-trial@1", "?season=1", 400),
     ("own-trial@1", "?season=NaN", 400), ("own-trial@1", "?seasons=2027", 400), ("own-trial@1", "?limit=501", 400),
     ("own-trial@1", "?cursor=x", 400), ("own-trial@1", "?season=" + "9" * 400, 400)],
)  # fmt: skip
def test_what_is_no_version_or_no_season_is_refused_and_breaks_nothing(spelling, query, status, yard):
    assert yard.client.get(f"{yard.url}/formulas/{spelling}/targets{query}").status_code == status
