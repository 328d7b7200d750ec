"""A yield by counting clusters, stored nowhere: every way side by side, each with a number or its reason."""

from __future__ import annotations

from typing import Any

import pytest
from rest_framework.test import APIClient

pytestmark = pytest.mark.django_db


@pytest.fixture
def anybody() -> APIClient:
    """A caller without a key."""
    return APIClient()


COUNTS = {"counts": [38, 42, 36, 44, 40, 41, 39, 40]}
LAG = {"mean": {"value": 54, "unit": "g"}, "standard_error": {"value": 2, "unit": "g"}, "n": 60}
WAYS = (
    "cluster_weight_of_this_season",
    "cluster_weight_of_earlier_seasons",
    "lag_phase_default_factor",
    "lag_phase_own_factor",
)


def season(year: int, final_g: float, early_g: float | None = None) -> dict[str, Any]:
    early = {} if early_g is None else {"lag_phase_weight": {"value": early_g, "unit": "g"}}
    return {"season": year, "final_weight": {"value": final_g, "unit": "g"}, **early}


def ask(anybody: APIClient, **members: Any) -> Any:
    body = {"places": 807, "clusters_per_vine": COUNTS, **members}
    sent = {name: value for name, value in body.items() if value is not ...}
    return anybody.post("/api/v1/balance/yield-estimate", sent, format="json")


def answered(anybody: APIClient, **members: Any) -> Any:
    answer = ask(anybody, **members)
    assert answer.status_code == 200, answer.json()
    return answer.json()


def ways(body: Any) -> dict[str, Any]:
    return {way["method"]["code"]: way for way in body["estimates"]}


def test_every_way_is_shown_with_a_number_or_a_reason(anybody):
    body = answered(anybody, lag_phase_weight=LAG)
    assert tuple(ways(body)) == WAYS
    for code, way in ways(body).items():
        known = code == "lag_phase_default_factor"
        assert (way["total"]["value"] is not None, way["total"]["reason"] is None) == (known, known), code


def test_the_default_factor_and_the_blocks_own_stand_side_by_side(anybody):
    body = answered(anybody, lag_phase_weight=LAG, earlier_seasons=[season(2025, 120, 50), season(2026, 110, 50)])
    factors = body["factors"]
    assert (factors["default_factor"]["value"], factors["own_factor"]["value"]) == (2, 2.3)
    assert factors["own_factor"]["n"] == 2
    assert factors["own_standard_deviation"] == pytest.approx(0.1414, abs=1e-4)
    weights = {code: way["cluster_weight"]["value"] for code, way in ways(body).items()}
    assert weights["lag_phase_default_factor"] == pytest.approx(0.108)
    assert weights["lag_phase_own_factor"] == pytest.approx(0.1242)
    assert weights["cluster_weight_of_earlier_seasons"] == pytest.approx(0.115)


def test_missing_vines_are_subtracted_and_their_share_is_an_estimate_of_its_own(anybody):
    body = answered(anybody, missing={"inspected": 200, "missing": 10}, lag_phase_weight=LAG)
    assert body["bearing_vines"]["value"] == pytest.approx(766.65)
    assert body["missing_share"]["low"] < 0.05 < body["missing_share"]["high"]
    whole = answered(anybody, lag_phase_weight=LAG)
    total, without = (ways(each)["lag_phase_default_factor"]["total"] for each in (body, whole))
    assert total["value"] == pytest.approx(0.95 * without["value"])
    assert total["standard_error"] / total["value"] > without["standard_error"] / without["value"]


def test_vines_nobody_looked_for_are_said_to_be_missing_from_the_answer(anybody):
    assert "none are subtracted" in answered(anybody)["cautions"][0]
    assert "a sample cannot say" in answered(anybody, missing={"inspected": 50, "missing": 0})["cautions"][0]


def test_the_spacing_and_the_area_give_places_and_the_yield_of_a_hectare(anybody):
    ground = {
        "area": {"value": 1, "unit": "acre"},
        "vine_spacing": {"value": 6, "unit": "ft"},
        "row_spacing": {"value": 9, "unit": "ft"},
    }
    weight = {"mean": {"value": 0.24, "unit": "lb"}}
    body = answered(
        anybody, places=..., **ground, cluster_weight=weight, clusters_per_vine={"mean": 40}, missing={"inspected": 100, "missing": 5}
    )  # fmt: skip
    way = ways(body)["cluster_weight_of_this_season"]
    assert body["places"] == 807
    assert (way["per_hectare"]["unit"], round(way["per_hectare"]["value"], 2)) == ("t/har", 8.25)
    assert any("3.6799 short tons an acre" in step["sentence"] for step in way["steps"])


def test_without_area_and_spacing_a_hectare_has_a_reason_and_no_number(anybody):
    way = ways(answered(anybody, lag_phase_weight=LAG))["lag_phase_default_factor"]
    assert way["per_hectare"]["value"] is None
    assert "spacing" in way["per_hectare"]["reason"]
    assert way["per_vine"]["value"] == pytest.approx(40 * 0.108)


def test_the_interval_is_propagated_from_vines_clusters_and_weight(anybody):
    body = answered(anybody, missing={"inspected": 200, "missing": 10}, lag_phase_weight=LAG)
    total = ways(body)["lag_phase_default_factor"]["total"]
    parts = [body["bearing_vines"], body["clusters_per_vine"], body["lag_phase_weight"]]
    relative = sum((part["standard_error"] / part["value"]) ** 2 for part in parts) ** 0.5
    assert total["standard_error"] / total["value"] == pytest.approx(relative)
    assert total["low"] < total["value"] < total["high"]
    assert 7 < total["degrees_of_freedom"] < 199 + 7 + 59


def test_a_higher_confidence_means_a_wider_interval(anybody):
    wide, narrow = (
        ways(answered(anybody, lag_phase_weight=LAG, confidence=each))["lag_phase_default_factor"]["total"]
        for each in (99, 80)
    )
    assert wide["low"] < narrow["low"] < narrow["high"] < wide["high"]


def test_where_nothing_tells_the_spread_there_is_a_number_without_an_interval_and_the_reason(anybody):
    body = answered(anybody, clusters_per_vine={"counts": [40]}, lag_phase_weight=LAG)
    total = ways(body)["lag_phase_default_factor"]["total"]
    assert total["value"] is not None
    assert (total["low"], total["high"], total["standard_error"]) == (None, None, None)
    assert "clusters per vine" in total["no_interval"]


def test_one_earlier_season_tells_a_weight_and_no_interval(anybody):
    way = ways(answered(anybody, earlier_seasons=[season(2026, 110)]))["cluster_weight_of_earlier_seasons"]
    assert (way["cluster_weight"]["value"], way["total"]["low"]) == (0.11, None)
    assert "weight of a cluster" in way["total"]["no_interval"]


def test_printed_weights_give_two_ends_only_where_there_is_no_record(anybody):
    body = answered(anybody, cultivar="villard-blanc")
    printed = body["printed_weights"]
    assert (printed["used"], printed["lowest_g"], printed["highest_g"]) == (True, 58, 287.1)
    assert printed["total_high"]["value"] / printed["total_low"]["value"] == pytest.approx(287.1 / 58)
    assert {row["total"]["value"] for row in body["estimates"]} == {None}


def test_with_a_record_printed_weights_are_shown_and_not_used(anybody):
    printed = answered(anybody, cultivar="villard-blanc", lag_phase_weight=LAG)["printed_weights"]
    assert (printed["used"], printed["total_low"]["value"], len(printed["rows"])) == (False, None, 3)
    assert "Not used" in printed["sentence"]


def test_a_factor_below_one_is_doubted(anybody):
    body = answered(anybody, lag_phase_weight=LAG, earlier_seasons=[season(2026, 40, 50)])
    assert any("got lighter" in caution for caution in body["cautions"])


def test_the_answer_carries_method_source_inputs_as_sent_and_cautions(anybody):
    body = answered(anybody, lag_phase_weight=LAG, earlier_seasons=[season(2026, 110)])
    assert (body["method"]["code"], body["method"]["mark"]) == ("yield_by_cluster_count", "READ")
    assert {"name": "lag_phase_weight.mean", "value": 54, "unit": "g"} in body["inputs"]
    assert all(way["method"]["source"] for way in body["estimates"])
    assert any("extension" in caution for caution in body["cautions"])


def test_grams_and_pounds_give_the_same_yield(anybody):
    grams = answered(anybody, cluster_weight={"mean": {"value": "113.3980925", "unit": "g"}})
    pounds = answered(anybody, cluster_weight={"mean": {"value": 0.25, "unit": "lb"}})
    assert [way["total"] for way in grams["estimates"]] == [way["total"] for way in pounds["estimates"]]


def test_clusters_weighed_one_by_one_have_their_own_error(anybody):
    weights = [{"value": each, "unit": "g"} for each in (90, 110, 100)]
    way = ways(answered(anybody, cluster_weight={"weights": weights}))["cluster_weight_of_this_season"]
    assert way["cluster_weight"]["value"] == pytest.approx(0.1)
    assert way["cluster_weight"]["standard_error"] == pytest.approx(0.01 / 3**0.5)


REFUSED: list[tuple[str, dict[str, Any], str]] = [
    ("no places", {"places": ...}, "#/places"),
    ("area without spacing", {"places": ..., "area": {"value": 1, "unit": "har"}}, "#/places"),
    ("one spacing", {"vine_spacing": {"value": 6, "unit": "ft"}}, "#/row_spacing"),
    ("vines 6 km apart", {"vine_spacing": {"value": 6000, "unit": "m"}, "row_spacing": {"value": 3, "unit": "m"}}, "#/vine_spacing"),
    ("more inspected than there are", {"missing": {"inspected": 808, "missing": 1}}, "#/missing/inspected"),
    ("more missing than inspected", {"missing": {"inspected": 10, "missing": 11}}, "#/missing/missing"),
    ("more counted than bear", {"places": 4}, "#/clusters_per_vine/counts"),
    ("counts and a mean", {"clusters_per_vine": {"counts": [40], "mean": 40}}, "#/clusters_per_vine"),
    ("neither", {"clusters_per_vine": {}}, "#/clusters_per_vine"),
    ("an error beside counts", {"clusters_per_vine": {"counts": [40], "standard_error": 2}}, "#/clusters_per_vine/standard_error"),
    ("a cluster of 54 kg", {"lag_phase_weight": {"mean": {"value": 54, "unit": "kg"}}}, "#/lag_phase_weight/mean"),
    ("a cluster of nothing", {"cluster_weight": {"weights": [{"value": 0, "unit": "g"}]}}, "#/cluster_weight/weights/0"),
    ("a season twice", {"earlier_seasons": [season(2026, 110), season(2026, 120)]}, "#/earlier_seasons/1/season"),
    ("a season's cluster of 1 t", {"earlier_seasons": [season(2026, 1_000_000)]}, "#/earlier_seasons/0/final_weight"),
]  # fmt: skip


@pytest.mark.parametrize(("members", "pointer"), [case[1:] for case in REFUSED], ids=[case[0] for case in REFUSED])
def test_what_cannot_be_answered_is_422_and_named(members, pointer, anybody):
    answer = ask(anybody, **members)
    assert (answer.status_code, answer.json()["errors"][0]["pointer"]) == (422, pointer)


@pytest.mark.parametrize(
    "members",
    [{"clusters_per_vine": ...}, {"clusters_per_vine": {"counts": []}}, {"clusters_per_vine": {"counts": "40"}},
     {"clusters_per_vine": {"mean": -1}}, {"clusters_per_vine": {"mean": 40, "n": 1}}, {"places": 0},
     {"confidence": 100}, {"clusters": 40}, {"missing": {"inspected": 0, "missing": 0}},
     {"earlier_seasons": [{"season": 2026}]}, {"earlier_seasons": [season(1, 110)]}, {"cultivar": 7}],
)  # fmt: skip
def test_what_the_schema_says_is_400(members, anybody):
    assert ask(anybody, **members).status_code == 400


@pytest.mark.parametrize(
    "members",
    [{"clusters_per_vine": {"counts": [0, 0]}, "lag_phase_weight": LAG},
     {"clusters_per_vine": {"mean": 0}, "lag_phase_weight": LAG},
     {"clusters_per_vine": {"mean": 1e-9, "standard_error": 5000, "n": 2}, "lag_phase_weight": LAG},
     {"missing": {"inspected": 807, "missing": 807}, "clusters_per_vine": {"counts": [40]}, "lag_phase_weight": LAG},
     {"cluster_weight": {"mean": {"value": "0.00001", "unit": "kg"}, "standard_error": {"value": 20, "unit": "kg"}}},
     {"places": 10_000_000, "clusters_per_vine": {"mean": 5000}, "cluster_weight": {"mean": {"value": 20, "unit": "kg"}}}],
)  # fmt: skip
def test_the_ends_of_what_may_be_sent_are_answered(members, anybody):
    assert ask(anybody, **members).status_code == 200


@pytest.mark.parametrize(
    "members", [{"places": 10**30}, {"confidence": 1e-300}, {"clusters_per_vine": {"mean": 1e300}}]
)
def test_a_number_beyond_anything_measured_is_refused(members, anybody):
    assert ask(anybody, **members).status_code in {400, 422}
