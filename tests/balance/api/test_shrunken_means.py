"""Shrunken means of a farm's blocks, and of groups that anybody sends."""

from __future__ import annotations

import statistics
from typing import Any

import pytest

from records.models import Cultivar
from tests.balance.api.plot import Plot

pytestmark = pytest.mark.django_db
WEIGHTS = {"Alder Bank": (1.0, 1.4, 1.2, 1.1), "Beck Side": (2.0, 2.6), "Cold Acre": (1.6, 1.9, 1.3, 1.8, 1.5, 1.7)}


@pytest.fixture
def farm(cast) -> Any:
    """Three blocks of thirty vines of which few were weighed, and one of which none was."""
    for name, weights in WEIGHTS.items():
        Plot(cast, name, cultivar=Cultivar.objects.get(code="concord")).weigh(weights)
    cast.bare = Plot(cast, "Dry Bottom")
    return cast


def means(cast: Any, query: str = "season=2027") -> dict[str, Any]:
    answer = cast.viewer.client.get(f"/api/v1/farms/{cast.farm.pk}/shrunken-means?{query}")
    assert answer.status_code == 200, answer.json()
    body: dict[str, Any] = answer.json()
    return body


def sent(*groups: tuple[Any, ...], unit: str = "kg", **more: Any) -> dict[str, Any]:
    listed = []
    for name, n, mean, deviation, *farm in groups:
        group = {"name": name, "n": n, "mean": {"value": mean, "unit": unit}}
        if deviation is not None:
            group["standard_deviation"] = {"value": deviation, "unit": unit}
        if farm:
            group["farm"] = farm[0]
        listed.append(group)
    return {"groups": listed, **more}


def ask(cast: Any, body: Any) -> Any:
    return cast.nobody.post("/api/v1/balance/shrinkage", body, format="json")


ALIKE = (("A", 4, 1.0, 0.4), ("B", 9, 1.2, 0.4), ("C", 9, 1.9, 0.4))


def test_the_blocks_come_by_name_with_their_plain_mean_beside_the_shrunken(farm):
    rows = means(farm)["results"]
    assert [row["name"] for row in rows] == [*WEIGHTS, "Dry Bottom"]
    for row, weights in zip(rows, WEIGHTS.values(), strict=False):
        assert row["plain_mean"]["value"] == pytest.approx(sum(weights) / len(weights))
        assert (row["n"], row["vines"], row["cultivar"]) == (len(weights), 30, "concord")


def test_each_mean_is_drawn_towards_the_farms_by_the_weight_that_is_said(farm):
    body = means(farm)
    centre = body["farm_mean"]["value"]
    for row in body["results"][:3]:
        weighed = row["weight_of_plain"] * row["plain_mean"]["value"] + row["weight_of_farm"] * centre
        assert row["shrunken_mean"]["value"] == pytest.approx(weighed)
        assert row["weight_of_program"] == 0
    alder, beck, cold = body["results"][:3]
    assert alder["plain_mean"]["value"] < alder["shrunken_mean"]["value"] < centre
    assert centre < beck["shrunken_mean"]["value"] < beck["plain_mean"]["value"]
    assert beck["weight_of_plain"] < cold["weight_of_plain"]


def test_the_farm_answers_as_the_same_groups_sent_by_anybody(farm):
    groups = [(row["name"], row["n"], row["plain_mean"]["value"], None) for row in means(farm)["results"] if row["n"]]
    body = sent(*((name, n, mean, statistics.stdev(WEIGHTS[name])) for name, n, mean, _ in groups))
    for group in body["groups"]:
        group["vines"] = 30
        group["mean"]["value"] = round(group["mean"]["value"], 9)
        group["standard_deviation"]["value"] = round(group["standard_deviation"]["value"], 9)
    theirs = [row["shrunken_mean"]["value"] for row in ask(farm, body).json()["results"]]
    assert [row["shrunken_mean"]["value"] for row in means(farm)["results"][:3]] == pytest.approx(theirs, abs=1e-6)


def test_a_block_that_nobody_weighed_has_a_reason_and_no_mean(farm):
    row = means(farm)["results"][3]
    assert (row["n"], row["plain_mean"]["value"], row["shrunken_mean"]["value"], row["weight_of_plain"]) == (
        0, None, None, None,
    )  # fmt: skip
    assert "No vine" in row["shrunken_mean"]["reason"]


def test_the_programs_mean_is_null_with_the_reason(farm):
    program = means(farm)["program_mean"]
    assert (program["value"], "consent" in program["reason"]) == (None, True)


def test_fewer_than_three_blocks_keep_their_plain_means_and_say_why(cast):
    for name in ("Alder Bank", "Beck Side"):
        Plot(cast, name).weigh(WEIGHTS[name])
    body = means(cast)
    assert [row["shrunken_mean"]["value"] for row in body["results"]] == pytest.approx([1.175, 2.3])
    assert "Fewer than 3" in body["reasons"][0]
    assert (body["farm_mean"]["value"], "Fewer than 3" in body["farm_mean"]["reason"]) == (None, True)


def test_a_farm_without_records_has_no_season_and_no_blocks(cast):
    body = means(cast, "")
    assert (body["season"], body["results"], body["farm_mean"]["value"]) == (None, [], None)


def test_without_a_season_the_newest_one_of_the_farm_answers(farm):
    assert means(farm, "")["season"] == 2027


def test_one_cultivar_can_be_asked_for_alone(farm):
    assert [row["name"] for row in means(farm, "season=2027&cultivar=concord")["results"]] == list(WEIGHTS)
    answer = farm.viewer.client.get(f"/api/v1/farms/{farm.farm.pk}/shrunken-means?cultivar=no-such")
    assert (answer.status_code, answer.json()["errors"][0]["parameter"]) == (422, "cultivar")


def test_missing_vines_are_no_part_of_a_block(farm):
    farm.bare.tell(farm.bare.vines[0], "missing")
    assert means(farm)["results"][3]["vines"] == 29


def test_a_unit_may_be_named(farm):
    kilograms, pounds = means(farm)["farm_mean"], means(farm, "season=2027&unit=[lb_av]")["farm_mean"]
    assert pounds["unit"] == "[lb_av]"
    assert pounds["value"] == pytest.approx(kilograms["value"] / 0.45359237)


def test_a_farm_of_any_size_takes_the_same_number_of_queries(farm, django_assert_max_num_queries):
    with django_assert_max_num_queries(13):
        means(farm)


def test_groups_sent_are_drawn_together_and_nothing_is_kept(cast):
    body = ask(cast, sent(*ALIKE)).json()
    rows = body["results"]
    assert [row["name"] for row in rows] == ["A", "B", "C"]
    assert rows[0]["shrunken_mean"]["value"] > 1.0
    assert rows[0]["weight_of_plain"] < rows[1]["weight_of_plain"]
    assert body["method"]["code"] == "empirical-bayes-means"
    assert (body["program_mean"]["value"], body["reasons"]) == (None, [])


def test_groups_of_three_farms_are_drawn_towards_their_farm_and_that_towards_all(cast):
    groups = [(f"{farm}{number}", 5, base + number / 5, 0.6, farm) for farm, base in (("x", 1), ("y", 2), ("z", 3)) for number in range(3)]  # fmt: skip
    body = ask(cast, sent(*groups)).json()
    assert body["program_mean"]["value"] == pytest.approx(2.2)
    for row in body["results"]:
        weights = [row[f"weight_of_{each}"] for each in ("plain", "farm", "program")]
        assert sum(weights) == pytest.approx(1)
        assert all(weight > 0 for weight in weights)
        told = (row["plain_mean"]["value"], row["farm_mean"]["value"], body["program_mean"]["value"])
        assert row["shrunken_mean"]["value"] == pytest.approx(
            sum(weight * value for weight, value in zip(weights, told, strict=True))
        )


def test_pounds_and_kilograms_are_drawn_alike(cast):
    kilograms = ask(cast, sent(*ALIKE)).json()["results"]
    in_pounds = [
        (name, n, round(mean / 0.45359237, 12), round(deviation / 0.45359237, 12)) for name, n, mean, deviation in ALIKE
    ]
    pounds = ask(cast, sent(*in_pounds, unit="[lb_av]")).json()["results"]
    for one, other in zip(kilograms, pounds, strict=True):
        assert other["shrunken_mean"]["value"] == pytest.approx(one["shrunken_mean"]["value"])


@pytest.mark.parametrize(
    ("body", "status", "pointer"),
    [({"groups": []}, 400, "#/groups"), ({}, 400, "#/groups"),
     (sent(("A", 0, 1.0, 0.4)), 400, "#/groups/0/n"),
     (sent(("A", 4, -1.0, 0.4)), 422, "#/groups/0/mean"), (sent(("A", 4, 2000, 0.4)), 422, "#/groups/0/mean"),
     (sent(("A", 4, 1.0, -0.4)), 422, "#/groups/0/standard_deviation"),
     (sent(("A", 1, 1.0, 0.4)), 422, "#/groups/0/standard_deviation"),
     (sent(("A", 4, 1.0, 0.4, "x"), ("B", 4, 1.0, 0.4)), 422, "#/groups/1/farm"),
     ({"groups": [{"name": "A", "n": 4, "mean": {"value": 1, "unit": "m"}}]}, 400, "#/groups/0/mean/unit"),
     ({"groups": [{"name": "A", "n": 9, "vines": 8, "mean": {"value": 1, "unit": "kg"}}]}, 422, "#/groups/0/vines"),
     (sent(*ALIKE, unit="kg") | {"unit": "m"}, 400, "#/unit"), (sent(*ALIKE) | {"extra": 1}, 400, "#/extra")],
)  # fmt: skip
def test_what_cannot_be_answered_is_refused_and_named(body, status, pointer, cast):
    answer = ask(cast, body)
    assert (answer.status_code, answer.json()["errors"][0]["pointer"]) == (status, pointer)


def test_single_weights_keep_their_means_and_say_why(cast):
    body = ask(cast, sent(*((name, 1, mean, None) for name, mean in (("A", 1), ("B", 2), ("C", 3))))).json()
    assert "No group has two weights" in body["reasons"][0]
    assert [row["shrunken_mean"]["value"] for row in body["results"]] == [1, 2, 3]
    assert body["results"][0]["standard_error"]["value"] is None


def test_a_list_of_too_few_says_how_many_are_taken(cast):
    assert ask(cast, {"groups": []}).json()["detail"] == "Send 1 of them or more."
