"""A whole block's targets at once say what each vine's own answer says."""

from __future__ import annotations

from typing import Any

import pytest

from records.access import enter, open_farm
from records.models import Cultivar, Vine
from records.services.vineyards import create_block, create_row, plant_row

pytestmark = pytest.mark.django_db
POUNDS = [2.8, 0.6, None, 2.25, 1.0, 4.1]


@pytest.fixture
def walked(cast):
    """A block of two rows of three vines, weighed in pounds; one vine has a formula of its own, one was counted."""
    enter(cast.owner.caller)
    opened = open_farm(cast.owner.caller, cast.farm.pk)
    block = create_block(opened, None, {"name": "Lower", "cultivar": Cultivar.objects.get(code="concord")}).row
    for number in (2, 1):
        plant_row(opened, create_row(opened, block, None, number).row, 3)
    cast.url, cast.block = f"/api/v1/farms/{cast.farm.pk}", block
    vines = Vine.objects.for_farm(cast.farm).order_by("row_number", "place")
    cast.records = [weigh(cast, vine, pounds) for vine, pounds in zip(vines, POUNDS, strict=True) if pounds]
    last = cast.records[-1]
    cast.owner.client.patch(
        f"{cast.url}/vines/{last['vine']}", {"pruning_formula": "concord-33-11-500g", "label": 'end "post"'},
        format="json", headers={"If-Match": "*"},
    )  # fmt: skip
    cast.owner.client.patch(
        f"{cast.url}/dormant-records/{cast.records[0]['id']}",
        {"nodes_retained": 38},
        format="json",
        headers={"If-Match": "*"},
    )
    return cast


def weigh(cast: Any, vine: Vine, pounds: float) -> dict[str, Any]:
    body = {
        "vine": str(vine.pk), "observed_at": "2027-01-16T10:02:00-05:00",
        "pruning_weight": {"value": pounds, "unit": "lb"}, "scale_resolution": {"value": 0.25, "unit": "lb"},
    }  # fmt: skip
    record: dict[str, Any] = cast.worker.client.post(f"{cast.url}/dormant-records", body, format="json").json()
    return record


def targets(cast: Any, query: str = "season=2027") -> dict[str, Any]:
    answer = cast.viewer.client.get(f"{cast.url}/blocks/{cast.block.pk}/targets?{query}")
    assert answer.status_code == 200
    body: dict[str, Any] = answer.json()
    return body


def test_the_vines_come_in_walking_order(walked):
    places = [(row["row_number"], row["place"]) for row in targets(walked)["results"]]
    assert places == [(1, 1), (1, 2), (1, 3), (2, 1), (2, 2), (2, 3)]


def test_each_vine_has_the_target_that_its_own_record_has(walked):
    by_record = {row["record"]: row for row in targets(walked)["results"]}
    for record in walked.records:
        alone = walked.viewer.client.get(f"{walked.url}/dormant-records/{record['id']}").json()
        row = by_record[record["id"]]
        target, verdict = alone["target"], alone["verdict"]
        assert (row["nodes"], row["nodes_unrounded"], row["status"]) == (
            target["nodes"], target["nodes_unrounded"], target["status"],
        )  # fmt: skip
        assert row["outcome"] == (verdict["outcome"] if verdict else None)


def test_every_state_of_a_vine_is_told_apart(walked):
    body = targets(walked)
    assert [row["status"] for row in body["results"]] == ["ok", "below_formula_range", "not_weighed", "ok", "ok", "ok"]
    assert [row["nodes"] for row in body["results"]] == [48, None, None, 42, 30, 63]
    assert (body["count"], body["with_target"]) == (6, 4)


def test_the_count_that_was_left_is_judged(walked):
    first = targets(walked)["results"][0]
    assert (first["nodes_retained"], first["difference"], first["tolerance"], first["outcome"]) == (
        38,
        -10,
        3,
        "too_few",
    )


def test_the_formulas_in_use_are_named_once_with_their_level(walked):
    body = targets(walked)
    named = [(each["level"], each["formula"]["code"]) for each in body["formulas"]]
    assert named == [("group", "american-30-10-lb"), ("vine", "concord-33-11-500g")]
    assert [row["formula"] for row in body["results"]] == [0, 0, 0, 0, 0, 1]


def test_a_label_with_quotes_stays_a_label(walked):
    assert targets(walked)["results"][-1]["label"] == 'end "post"'


def test_one_row_can_be_asked_for_alone(walked):
    assert {row["row_number"] for row in targets(walked, "season=2027&row_number=2")["results"]} == {2}


def test_without_a_season_the_newest_one_answers(walked):
    assert targets(walked, "")["season"] == 2027


def test_a_season_without_records_has_every_vine_not_weighed(walked):
    body = targets(walked, "season=2020")
    assert ({row["status"] for row in body["results"]}, body["with_target"]) == ({"not_weighed"}, 0)


def test_an_empty_block_is_an_empty_list(walked):
    made = walked.owner.client.post(f"{walked.url}/blocks", {"name": "Bare ground"}, format="json").json()
    body = walked.viewer.client.get(f"{walked.url}/blocks/{made['id']}/targets").json()
    assert (body["results"], body["count"], body["season"]) == ([], 0, None)


def test_a_block_of_any_size_takes_the_same_number_of_queries(walked, django_assert_max_num_queries):
    with django_assert_max_num_queries(16):
        targets(walked)
