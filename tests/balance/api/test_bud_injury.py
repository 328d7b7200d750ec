"""Bud injury over HTTP: of one sample for anybody, and of a block from its records."""

from __future__ import annotations

import uuid
from typing import Any

import pytest

from records.access import enter, open_farm
from records.models import Cultivar, Vine
from records.services.vineyards import create_block, create_row, plant_row

pytestmark = pytest.mark.django_db
CORNELL = "cornell-nny-2014"


def ask(cast: Any, **members: Any) -> Any:
    body = {"nodes_examined": 100, "primaries_alive": 65, "normal_target": 40, **members}
    return cast.nobody.post("/api/v1/balance/bud-injury", body, format="json")


def test_a_named_method_answers_alone_with_its_source_and_steps(cast):
    body = ask(cast, adjustment=CORNELL).json()
    [by_cornell] = body["adjustments"]
    assert (by_cornell["target"]["value"], by_cornell["factor"], by_cornell["says"]) == (54, 1.35, "ok")
    assert (by_cornell["method"]["mark"], "Cornell" in by_cornell["method"]["source"]) == ("READ", True)
    assert by_cornell["steps"][0]["calculation"] == "40 × (1 + 35 ÷ 100) = 54"
    assert (by_cornell["over_interval"]["nodes_low"], by_cornell["over_interval"]["nodes_high"]) == (50, 58)


def test_the_injury_carries_its_sample_size_and_exact_interval(cast):
    body = ask(cast).json()
    assert (body["injury"]["value"], body["nodes_examined"], body["primaries_dead"]) == (35, 100, 35)
    interval = body["interval"]
    assert (round(interval["low"], 1), round(interval["high"], 1), interval["confidence"]) == (25.7, 45.2, 0.95)
    assert [step["label"] for step in body["steps"]] == ["primary buds dead", "injury", "interval"]
    assert body["inputs"][0] == {"name": "nodes_examined", "value": 100, "unit": "1"}


def test_without_a_name_every_method_stands_by_itself_and_nothing_is_averaged(cast):
    targets = {each["method"]["code"]: each["target"]["value"] for each in ask(cast).json()["adjustments"]}
    assert targets == {
        CORNELL: 54, "northern-grapes-project-2014": None, "msu-e2774-2002": 54, "purdue-double-pruning": None,
        "survival-rule": 62,
    }  # fmt: skip


def test_where_a_method_has_no_number_it_says_why_and_shows_what_is_printed(cast):
    [by_purdue] = ask(cast, adjustment="purdue-double-pruning").json()["adjustments"]
    assert (by_purdue["says"], by_purdue["target"]["value"], by_purdue["factor"]) == ("ambiguous_band", None, None)
    assert "overlap" in by_purdue["target"]["reason"]
    assert [band["value"] for band in by_purdue["bands"]] == [35, 50]


def test_without_a_normal_target_the_factor_is_given_and_the_target_has_a_reason(cast):
    [by_cornell] = ask(cast, adjustment=f"{CORNELL}@1", normal_target=None).json()["adjustments"]
    assert (by_cornell["factor"], by_cornell["target"]["value"], by_cornell["steps"]) == (1.35, None, [])
    assert "normal_target" in by_cornell["target"]["reason"]


def test_secondary_buds_are_off_unless_somebody_says_what_they_bear(cast):
    off = ask(cast, secondaries_alive=88, cultivar="concord").json()["crop_potential"]
    assert (off["potential"]["value"], off["low"], "disputed" in off["potential"]["reason"]) == (None, None, True)
    assert [row["percent_of_primary"] for row in off["published"]] == [35, 0]


def test_secondary_buds_of_concord_bring_60_percent_to_74(cast):
    """Howell, Michigan State Univ., 2019: a secondary of Concord bears about 35 % of a primary (READ)."""
    on = ask(cast, primaries_alive=60, secondaries_alive=100, secondary_fruitfulness=35).json()["crop_potential"]
    assert (on["potential"]["value"], on["low"], on["high"]) == (74, 74, 74)


def test_counts_that_leave_the_potential_open_give_its_bounds(cast):
    shown = ask(cast, secondaries_alive=88, secondary_fruitfulness=35).json()["crop_potential"]
    assert (shown["potential"]["value"], shown["low"], shown["high"]) == (None, 73.05, 77.25)


def test_secondary_buds_change_no_target(cast):
    plain, with_secondaries = ask(cast).json(), ask(cast, secondaries_alive=88, secondary_fruitfulness=35).json()
    assert plain["adjustments"] == with_secondaries["adjustments"]


def test_a_small_sample_is_told_how_many_more_nodes_a_margin_takes(cast):
    body = ask(cast, nodes_examined=20, primaries_alive=13, wanted_margin=5).json()
    assert (body["sampling"]["nodes_needed"], body["sampling"]["wanted_margin"]) == (385, 5)
    assert "50 to 100" in body["cautions"][0]
    assert {row["buds_from"] for row in body["sampling"]["advice"]} == {10, 50, 100}


def test_a_target_near_all_that_an_unpruned_vine_has_carries_a_caution(cast):
    [survival] = ask(cast, primaries_alive=5, adjustment="survival-rule").json()["adjustments"]
    assert (survival["target"]["value"], "nobody pruned" in survival["caution"]) == (800, True)


@pytest.mark.parametrize(
    ("members", "pointer"),
    [({"primaries_alive": 101}, "#/primaries_alive"), ({"secondaries_alive": 101}, "#/secondaries_alive"),
     ({"adjustment": "none-such"}, "#/adjustment"), ({"adjustment": f"{CORNELL}@9"}, "#/adjustment"),
     ({"cultivar": "none-such"}, "#/cultivar")],
)  # fmt: skip
def test_what_no_schema_forbids_is_422_and_named(members, pointer, cast):
    answer = ask(cast, **members)
    assert (answer.status_code, answer.json()["errors"][0]["pointer"]) == (422, pointer)


@pytest.mark.parametrize(
    ("members", "pointer"),
    [({"nodes_examined": 0}, "#/nodes_examined"), ({"nodes_examined": 1e300}, "#/nodes_examined"),
     ({"nodes_examined": 10**30}, "#/nodes_examined"), ({"primaries_alive": -1}, "#/primaries_alive"),
     ({"normal_target": 0.5}, "#/normal_target"), ({"normal_target": 1e-300}, "#/normal_target"),
     ({"wanted_margin": 0.1}, "#/wanted_margin"), ({"secondary_fruitfulness": 101}, "#/secondary_fruitfulness"),
     ({"nodes_examined": None}, "#/nodes_examined"), ({"average": True}, "#/average")],
)  # fmt: skip
def test_what_the_schema_forbids_is_refused_and_named(members, pointer, cast):
    answer = ask(cast, **members)
    assert (answer.status_code in {400, 422}, answer.json()["errors"][0]["pointer"]) == (True, pointer)


def test_all_dead_all_alive_and_one_node_are_answers_too(cast):
    for examined, alive in ((1, 0), (1, 1), (100_000, 0), (100_000, 100_000)):
        body = ask(cast, nodes_examined=examined, primaries_alive=alive, secondary_fruitfulness=0.000001).json()
        assert body["injury"]["value"] == 100 * (examined - alive) / examined


def test_the_catalogue_lists_every_method_with_its_bands_and_marks(cast):
    rows = cast.nobody.get("/api/v1/bud-adjustments").json()
    assert [row["code"] for row in rows] == [
        CORNELL, "northern-grapes-project-2014", "msu-e2774-2002", "purdue-double-pruning", "survival-rule",
    ]  # fmt: skip
    assert [band["mark"] for band in rows[0]["bands"]] == ["READ", "READ", "MEMORY"]
    assert all(row["source"] for row in rows)


@pytest.fixture
def block(cast):
    """A block of Concord with three vines weighed for 40, 45 and no nodes, and ways to send bud samples."""
    enter(cast.owner.caller)
    opened = open_farm(cast.owner.caller, cast.farm.pk)
    cast.block = create_block(opened, None, {"name": "Lower", "cultivar": Cultivar.objects.get(code="concord")}).row
    plant_row(opened, create_row(opened, cast.block, None, 1).row, 3)
    cast.url = f"/api/v1/farms/{cast.farm.pk}"
    for vine, pounds in zip(Vine.objects.for_farm(cast.farm).order_by("place"), (2, 2.5, 0.5), strict=True):
        post(cast, "dormant-records", vine=str(vine.pk), pruning_weight={"value": pounds, "unit": "lb"})
    return cast


def post(cast: Any, path: str, **members: Any) -> dict[str, Any]:
    body = {"observed_at": "2027-02-03T15:30:00-05:00", **members}
    answer = cast.worker.client.post(f"{cast.url}/{path}", body, format="json")
    assert answer.status_code == 201, answer.json()
    made: dict[str, Any] = answer.json()
    return made


def sample(block: Any, examined: int, alive: int | None, **members: Any) -> dict[str, Any]:
    about = {} if "vine" in members else {"block": str(block.block.pk)}
    return post(block, "bud-samples", nodes_examined=examined, primary_alive=alive, **about, **members)


def read(block: Any, query: str = "") -> dict[str, Any]:
    answer = block.viewer.client.get(f"{block.url}/blocks/{block.block.pk}/bud-injury?{query}")
    assert answer.status_code == 200, answer.json()
    body: dict[str, Any] = answer.json()
    return body


def test_the_samples_of_a_block_are_pooled_and_each_is_shown(block):
    sample(block, 60, 42, cut_where="top")
    sample(block, 40, 23, cut_where="bottom")
    body = read(block, "season=2027")
    assert (body["nodes_examined"], body["primaries_dead"], body["injury"]["value"]) == (100, 35, 35)
    assert [(row["cut_where"], row["injury"]) for row in body["samples"]] == [("top", 30), ("bottom", 42.5)]
    assert (body["sample_count"], body["likeness"]["unlike"]) == (2, False)


def test_the_nodes_of_the_block_are_those_of_its_vines_adjusted_one_by_one(block):
    """2 lb is 40 nodes, 2.5 lb 45, 0.5 lb none; × 1.35 is 54 and 60.75, so 61: 115 together."""
    sample(block, 100, 65)
    body = read(block, f"adjustment={CORNELL}")
    assert (body["normal"]["vines_with_target"], body["normal"]["nodes"]["value"]) == (2, 85)
    [by_cornell] = body["adjustments"]
    assert (body["normal"]["mean_target"]["value"], by_cornell["target_unrounded"]) == (42.5, 57.375)
    assert (by_cornell["target"]["value"], by_cornell["nodes_of_block"]["value"]) == (57, 115)


def test_without_a_name_every_method_is_listed_for_the_block_too(block):
    sample(block, 100, 65)
    nodes = [each["nodes_of_block"]["value"] for each in read(block)["adjustments"]]
    assert nodes == [115, None, 115, None, 62 + 69]


def test_samples_that_differ_by_more_than_chance_are_not_to_be_pooled_in_silence(block):
    sample(block, 100, 90, cut_where="top")
    sample(block, 100, 40, cut_where="low ground by the brook")
    body = read(block)
    assert (body["injury"]["value"], body["likeness"]["unlike"]) == (35, True)
    assert body["cautions"][0] == body["likeness"]["sentence"]


def test_a_sample_in_which_nothing_was_read_counts_for_nothing(block):
    sample(block, 100, 65)
    sample(block, 50, None)
    body = read(block)
    assert (body["nodes_examined"], body["sample_count"], body["not_read"]) == (100, 1, 1)


def test_a_withdrawn_sample_counts_for_nothing(block):
    sample(block, 100, 65)
    wrong = sample(block, 100, 5)
    block.worker.client.delete(f"{block.url}/bud-samples/{wrong['id']}", headers={"If-Match": "*"})
    assert read(block)["injury"]["value"] == 35


def test_a_sample_of_one_vine_of_the_block_is_among_them(block):
    sample(block, 10, 7, vine=str(Vine.objects.for_farm(block.farm).values_list("pk", flat=True)[0]))
    body = read(block)
    assert (body["injury"]["value"], body["samples"][0]["vine"] is None) == (30, False)


def test_a_block_without_a_sample_has_no_injury_and_says_so(block):
    body = read(block, "season=2027")
    assert (body["injury"]["value"], body["interval"], body["adjustments"]) == (None, None, [])
    assert "No bud sample" in body["injury"]["reason"] and "2027" in body["injury"]["reason"]
    assert read(block)["season"] is None


def test_without_a_season_the_newest_winter_with_a_sample_answers(block):
    sample(block, 100, 65)
    sample(block, 100, 95, observed_at="2026-02-03T15:30:00-05:00")
    assert (read(block)["season"], read(block, "season=2026")["injury"]["value"]) == (2027, 5)


def test_a_block_whose_vines_were_not_weighed_has_factors_and_no_nodes(block):
    sample(block, 100, 65, observed_at="2026-02-03T15:30:00-05:00")
    [by_cornell] = read(block, f"adjustment={CORNELL}")["adjustments"]
    assert (by_cornell["factor"], by_cornell["target"]["value"], by_cornell["nodes_of_block"]["value"]) == (
        1.35,
        None,
        None,
    )
    assert "No vine of the block has a target" in by_cornell["nodes_of_block"]["reason"]


def test_the_potential_of_a_block_is_of_the_samples_in_which_both_buds_were_read(block):
    sample(block, 100, 60, secondary_alive=100)
    sample(block, 100, 90)
    body = read(block, "secondary_fruitfulness=35")
    assert (body["injury"]["value"], body["crop_potential"]["potential"]["value"]) == (25, 74)
    assert [row["code"] for row in body["crop_potential"]["published"]] == ["msu-concord", "cornell-concord"]


@pytest.mark.parametrize(
    ("query", "parameter"),
    [("adjustment=none-such", "adjustment"), ("secondary_fruitfulness=101", "secondary_fruitfulness"),
     ("secondary_fruitfulness=nan", "secondary_fruitfulness"), ("season=20270", "season"), ("average=1", "average")],
)  # fmt: skip
def test_a_query_that_cannot_be_is_refused_and_named(query, parameter, block):
    answer = block.viewer.client.get(f"{block.url}/blocks/{block.block.pk}/bud-injury?{query}")
    assert (answer.status_code in {400, 422}, answer.json()["errors"][0]["parameter"]) == (True, parameter)


def test_pounds_and_kilograms_of_the_same_prunings_lead_to_the_same_adjusted_nodes(block):
    sample(block, 100, 65)
    by_pounds = read(block)["adjustments"]
    for record in block.viewer.client.get(f"{block.url}/dormant-records").json()["results"]:
        exact = {"value": str(record["pruning_weight"]["kg"])[:14], "unit": "kg"}
        answer = block.worker.client.patch(
            f"{block.url}/dormant-records/{record['id']}", {"pruning_weight": exact}, format="json",
            headers={"If-Match": "*"},
        )  # fmt: skip
        assert answer.status_code == 200, answer.json()
    assert read(block)["adjustments"] == by_pounds


def test_a_block_too_large_for_its_targets_still_has_its_injury(block, monkeypatch):
    monkeypatch.setattr("balance.walking.MOST_OF_A_BLOCK", 2)
    sample(block, 100, 65)
    body = read(block)
    assert (body["injury"]["value"], body["normal"]["nodes"]["value"]) == (35, None)
    assert "at most 2" in body["normal"]["nodes"]["reason"]


def test_any_number_of_samples_takes_the_same_number_of_queries(block, django_assert_max_num_queries):
    for _ in range(5):
        sample(block, 20, 13, id=str(uuid.uuid4()))
    with django_assert_max_num_queries(18):
        read(block)
