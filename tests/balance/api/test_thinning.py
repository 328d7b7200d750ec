"""Thinning of one vine, stored nowhere: to a crop load, to a yield, and shoot by shoot by a rule that is named."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from rest_framework.test import APIClient

pytestmark = pytest.mark.django_db


@pytest.fixture
def anybody() -> APIClient:
    """A caller without a key."""
    return APIClient()


WEIGHT = {"mean": {"value": 0.5, "unit": "lb"}, "standard_error": {"value": 0.02, "unit": "lb"}, "n": 40}
BY_CROP_LOAD = {"pruning_weight": {"value": 2, "unit": "lb"}, "crop_load": 10, "cluster_weight": WEIGHT}


def ask(anybody: APIClient, **members: Any) -> Any:
    return anybody.post("/api/v1/balance/thinning", members, format="json")


def by_crop(anybody: APIClient, **members: Any) -> Any:
    answer = ask(anybody, **members)
    assert answer.status_code == 200, answer.json()
    return answer.json()["by_crop"]


def figures(body: Any, *names: str) -> list[Any]:
    return [body[f"clusters_{name}"]["value"] for name in names]


def test_a_crop_load_of_ten_on_two_pounds_is_forty_clusters_of_half_a_pound(anybody):
    body = by_crop(anybody, **BY_CROP_LOAD, clusters=55)
    assert body["wanted_yield"]["value"] == pytest.approx(20 * 0.45359237)
    assert figures(body, "to_leave", "to_take_off", "lacking") == [40, 15, 0]
    assert body["expected_crop_load"]["value"] == pytest.approx(10)


def test_the_stand_in_for_the_next_winters_prunings_is_named(anybody):
    assert "last winter's weight stands in" in by_crop(anybody, **BY_CROP_LOAD)["method"]["note"]


def test_a_yield_of_the_vine_needs_no_pruning_weight(anybody):
    body = by_crop(anybody, yield_per_vine={"value": 9.07, "unit": "kg"}, cluster_weight=WEIGHT)
    assert figures(body, "to_leave") == [40]
    assert (body["expected_crop_load"]["value"], "pruning weight" in body["expected_crop_load"]["reason"]) == (
        None,
        True,
    )


def test_a_yield_of_an_area_is_shared_by_the_vines_that_bear(anybody):
    wanted = {"yield_of_area": {"value": 8, "unit": "t"}, "area": {"value": 1, "unit": "har"}}
    by_count = by_crop(anybody, **wanted, bearing_vines=1600, cluster_weight={"mean": {"value": 200, "unit": "g"}})
    assert (by_count["wanted_yield"]["value"], figures(by_count, "to_leave")) == (5, [25])
    spacing = {"vine_spacing": {"value": 2, "unit": "m"}, "row_spacing": {"value": 2.5, "unit": "m"}}
    by_spacing = by_crop(
        anybody, **wanted, **spacing, missing_percent=20, cluster_weight={"mean": {"value": 200, "unit": "g"}}
    )
    assert by_spacing["wanted_yield"]["value"] == pytest.approx(5)


def test_a_half_goes_to_fewer_and_the_unrounded_number_is_shown(anybody):
    body = by_crop(
        anybody, yield_per_vine={"value": 9.1, "unit": "kg"}, cluster_weight={"mean": {"value": 200, "unit": "g"}}
    )
    assert (figures(body, "to_leave"), body["clusters_to_leave_unrounded"]) == ([45], 45.5)
    assert any("a half towards fewer" in step["sentence"] for step in body["steps"])


def test_a_vine_with_too_few_clusters_keeps_them_all(anybody):
    body = by_crop(anybody, **BY_CROP_LOAD, clusters=30)
    assert figures(body, "to_leave", "to_take_off", "lacking") == [40, 0, 10]
    assert body["expected_yield"]["value"] == pytest.approx(15 * 0.45359237)
    assert body["expected_crop_load"]["value"] == pytest.approx(7.5)


def test_clusters_that_were_not_counted_are_no_clusters_to_take_off(anybody):
    body = by_crop(anybody, **BY_CROP_LOAD)
    assert figures(body, "to_leave", "to_take_off") == [40, None]
    assert "not counted" in body["clusters_to_take_off"]["reason"]
    assert figures(by_crop(anybody, **BY_CROP_LOAD, clusters=0), "to_take_off", "lacking") == [0, 40]


def test_the_clusters_are_dealt_out_to_the_shoots(anybody):
    share = by_crop(anybody, **BY_CROP_LOAD, shoots=32)["per_shoot"]
    assert share == {"mean": 1.25, "fewer": 1, "shoots_with_fewer": 24, "more": 2, "shoots_with_more": 8}
    assert by_crop(anybody, **BY_CROP_LOAD)["per_shoot"] is None


def test_what_the_weight_of_a_cluster_leaves_open_is_shown(anybody):
    body = by_crop(anybody, **BY_CROP_LOAD)
    between, expected = body["clusters_to_leave_between"], body["expected_yield"]
    assert between["fewest"] < 40 < between["most"]
    assert expected["low"] < expected["value"] < expected["high"]
    unsure = by_crop(anybody, **{**BY_CROP_LOAD, "cluster_weight": {"mean": WEIGHT["mean"]}})
    assert (unsure["clusters_to_leave_between"], unsure["expected_yield"]["low"]) == (None, None)
    assert "weight of a cluster" in unsure["expected_yield"]["no_interval"]


def test_a_vine_without_prunings_is_to_carry_nothing(anybody):
    body = by_crop(anybody, **{**BY_CROP_LOAD, "pruning_weight": {"value": 0, "unit": "kg"}}, clusters=12)
    assert figures(body, "to_leave", "to_take_off") == [0, 12]
    assert body["expected_crop_load"]["value"] is None


def by_length(anybody: APIClient, rule: str, *inches: float) -> Any:
    lengths = [{"value": each, "unit": "[in_i]"} for each in inches]
    return ask(anybody, shoot_lengths=lengths, rule=rule).json()["by_shoot_length"]


@pytest.mark.parametrize(
    ("rule", "clusters"), [("grower-8-15-in", [0, 1, 2, 2]), ("high-tunnel-8-20-in", [0, 1, 1, 2])]
)
def test_each_rule_of_thinning_by_length_has_its_own_steps(rule, clusters, anybody):
    body = by_length(anybody, rule, 6, 12, 18, 24)
    assert (body["clusters"], body["total"]) == (clusters, sum(clusters))
    assert (body["method"]["code"], body["rule"]["code"]) == (rule, rule)


def test_without_a_rule_there_is_no_thinning_by_length(anybody):
    answer = ask(anybody, shoot_lengths=[{"value": 12, "unit": "in"}])
    assert (answer.status_code, answer.json()["errors"][0]["pointer"]) == (422, "#/rule")
    assert "none is a default" in answer.json()["detail"]


def test_a_version_of_a_rule_may_be_named(anybody):
    assert by_length(anybody, "grower-8-15-in@1", 12)["total"] == 1
    answer = ask(anybody, shoot_lengths=[{"value": 12, "unit": "in"}], rule="grower-8-15-in@9")
    assert answer.json()["errors"][0]["code"] == "does_not_exist"


def test_both_may_be_asked_for_at_once_and_each_says_its_method(anybody):
    body = ask(anybody, **BY_CROP_LOAD, shoot_lengths=[{"value": 12, "unit": "in"}], rule="grower-8-15-in").json()
    assert body["by_crop"]["method"]["code"] == "clusters_for_a_crop_load"
    assert body["by_shoot_length"]["method"]["code"] == "grower-8-15-in"
    assert all(part["cautions"] for part in body.values())


KG = {"value": 5, "unit": "kg"}
REFUSED: list[tuple[str, dict[str, Any], str]] = [
    ("nothing wanted", {}, "#/crop_load"),
    ("two wishes", {**BY_CROP_LOAD, "yield_per_vine": KG}, "#/yield_per_vine"),
    ("a crop load alone", {"crop_load": 10, "cluster_weight": WEIGHT}, "#/pruning_weight"),
    ("no weight of a cluster", {"yield_per_vine": KG}, "#/cluster_weight"),
    ("prunings of 51 kg", {**BY_CROP_LOAD, "pruning_weight": {"value": 51, "unit": "kg"}}, "#/pruning_weight"),
    ("less than nothing", {"yield_per_vine": {"value": -1, "unit": "kg"}, "cluster_weight": WEIGHT}, "#/yield_per_vine"),
    ("no area", {"yield_of_area": KG, "cluster_weight": WEIGHT}, "#/area"),
    ("no vines", {"yield_of_area": KG, "area": {"value": 1, "unit": "har"}, "cluster_weight": WEIGHT}, "#/bearing_vines"),
    ("too much for one vine",
     {"yield_of_area": {"value": 50_000, "unit": "t"}, "area": {"value": 1, "unit": "har"}, "bearing_vines": 1,
      "cluster_weight": WEIGHT}, "#/yield_of_area"),
    ("a cluster of nothing", {"yield_per_vine": KG, "cluster_weight": {"mean": {"value": 0, "unit": "g"}}}, "#/cluster_weight/mean"),
    ("a rule alone", {"rule": "grower-8-15-in"}, "#/shoot_lengths"),
    ("a rule that is none", {"rule": "x", "shoot_lengths": [{"value": 1, "unit": "m"}]}, "#/rule"),
    ("a shoot of 21 m", {"rule": "grower-8-15-in", "shoot_lengths": [{"value": 21, "unit": "m"}]}, "#/shoot_lengths/0"),
    ("a shoot of -1 m", {"rule": "grower-8-15-in", "shoot_lengths": [{"value": -1, "unit": "m"}]}, "#/shoot_lengths/0"),
]  # fmt: skip


@pytest.mark.parametrize(("members", "pointer"), [case[1:] for case in REFUSED], ids=[case[0] for case in REFUSED])
def test_what_cannot_be_answered_is_422_and_named(members, pointer, anybody):
    answer = ask(anybody, **members)
    assert (answer.status_code, answer.json()["errors"][0]["pointer"]) == (422, pointer)


@pytest.mark.parametrize(
    "members",
    [{"crop_load": 0}, {"crop_load": 101}, {"shoots": 0}, {"clusters": -1}, {"shoot_lengths": []},
     {"confidence": 49}, {"missing_percent": 100}, {"bearing_vines": 0}, {"crop_load": "NaN"}],
)  # fmt: skip
def test_what_the_schema_says_is_400(members, anybody):
    assert ask(anybody, **{**BY_CROP_LOAD, **members}).status_code == 400


def test_a_text_of_many_digits_is_a_number_beyond_its_bounds(anybody):
    answer = ask(anybody, **{**BY_CROP_LOAD, "crop_load": "123456789012345"})
    assert (answer.status_code, answer.json()["errors"][0]["code"]) == (422, "out_of_range")


def test_pounds_and_kilograms_give_one_advice_in_random_cases(anybody):
    """The 1,000 cases are in tests/balance/formulas/test_yield_properties.py; here a few go through the edge."""
    random = np.random.default_rng(2027)
    for _ in range(40):
        pounds, each = round(random.uniform(0.2, 9), 2), round(random.uniform(0.1, 1), 2)
        advice = [
            figures(
                by_crop(
                    anybody, crop_load=7.5, clusters=60,
                    pruning_weight={"value": f"{pounds * factor:.10f}", "unit": unit},
                    cluster_weight={"mean": {"value": f"{each * factor:.10f}", "unit": unit}},
                ), "to_leave", "to_take_off", "lacking",
            ) for unit, factor in (("lb", 1), ("kg", 0.45359237))
        ]  # fmt: skip
        assert advice[0] == advice[1]
