"""Crop load and vine size of whatever is sent, stored nowhere, for anybody."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

import numpy as np
import pytest

pytestmark = pytest.mark.django_db
POUND = Decimal("0.45359237")


def ask(cast: Any, **members: Any) -> Any:
    body = {"yield": kg(20.2), "pruning_weight": kg(1.53), **members}
    return cast.nobody.post("/api/v1/balance/crop-load", body, format="json")


def kg(value: Any) -> dict[str, Any]:
    return {"value": value, "unit": "kg"}


def told(cast: Any, **members: Any) -> dict[str, Any]:
    answer = ask(cast, **members)
    assert answer.status_code == 200, answer.json()
    body: dict[str, Any] = answer.json()
    return body


def test_the_ratio_carries_method_source_inputs_unit_and_steps(cast):
    """20.2 kg over 1.53 kg is 13.2: Kliewer & Dokoozlian 2005 (READ)."""
    body = told(cast, yield_season=2026, pruning_season=2027)
    assert body["crop_load"]["value"] == pytest.approx(13.2, abs=0.05)
    assert (body["method"]["code"], body["method"]["version"], body["method"]["mark"]) == ("crop-load", 1, "READ")
    assert {"name": "yield", "value": 20.2, "unit": "kg"} in body["inputs"]
    assert [step["calculation"] for step in body["steps"]] == ["2026 + 1 = 2027", "20.2 kg ÷ 1.53 kg = 13.2026"]
    assert any("local extension" in caution for caution in body["cautions"])


def test_what_was_sent_in_pounds_and_feet_is_shown_so_and_reckoned_in_the_steps(cast):
    body = told(cast, **{"yield": {"value": 20, "unit": "lb"}}, pruning_weight={"value": 2, "unit": "lb"},
                row_length={"value": 8, "unit": "ft"})  # fmt: skip
    assert {"name": "yield", "value": 20, "unit": "[lb_av]"} in body["inputs"]
    assert [step["calculation"] for step in body["steps"][:3]] == ["20 lb = 9.07185 kg", "2 lb = 0.907185 kg",
                                                                   "8 ft = 2.4384 m"]  # fmt: skip
    assert body["crop_load"]["value"] == 10


def test_without_a_range_there_is_a_ratio_and_no_verdict(cast):
    body = told(cast)
    assert (body["crop_load"]["range"], body["crop_load"]["verdict"]) == (None, None)
    assert any("stands without a verdict" in caution for caution in body["cautions"])


@pytest.mark.parametrize(
    ("named", "verdict", "level"),
    [({"cultivar": "concord", "use": "juice"}, "within", "cultivar"),
     ({"cultivar": "chardonnay", "use": "wine"}, "above", "group"),
     ({"cultivar_group": "vinifera", "use": "wine"}, "above", "group"),
     ({"range": "eastern-european-kentucky-crop-load"}, "within", "request"),
     ({"range": "concord-steady-crop-load@1", "cultivar": "chardonnay", "use": "wine"}, "within", "request")],
)  # fmt: skip
def test_a_verdict_comes_with_the_range_its_source_and_the_level_that_named_it(named, verdict, level, cast):
    found = told(cast, **named)["crop_load"]
    assert (found["verdict"], found["range"]["level"]) == (verdict, level)
    assert found["range"]["source"]


@pytest.mark.parametrize(
    "named", [{"cultivar": "concord"}, {"cultivar": "concord", "use": "wine"}, {"cultivar": "marquette", "use": "wine"},
              {"use": "juice"}, {"cultivar": "chardonnay"}]
)  # fmt: skip
def test_a_range_of_one_group_and_use_is_not_held_against_another(named, cast):
    assert told(cast, **named)["crop_load"]["verdict"] is None


@pytest.mark.parametrize("pruning_season", [2025, 2026, 2028])
def test_prunings_of_another_winter_are_refused_and_the_right_one_is_named(pruning_season, cast):
    answer = ask(cast, yield_season=2026, pruning_season=pruning_season)
    fault = answer.json()["errors"][0]
    assert (answer.status_code, fault["pointer"], fault["code"]) == (422, "#/pruning_season", "wrong_pairing")
    assert "season 2027" in fault["detail"]


@pytest.mark.parametrize(
    ("sides", "reason"),
    [({"yield": None}, "The yield was not measured"), ({"pruning_weight": None}, "The pruning weight was not measured"),
     ({"yield": None, "pruning_weight": None}, "Neither side was measured"),
     ({"pruning_weight": kg(0)}, "nothing can be divided by zero"),
     ({"pruning_weight": kg("0.000000000001")}, "which no vine has")],
)  # fmt: skip
def test_a_side_that_is_missing_or_zero_gives_a_reason_and_no_number(sides, reason, cast):
    found = told(cast, **sides, cultivar="concord", use="juice")["crop_load"]
    assert (found["value"], found["verdict"]) == (None, None)
    assert reason in found["reason"]


def test_no_crop_at_all_is_a_load_of_zero(cast):
    assert told(cast, **{"yield": kg(0)})["crop_load"]["value"] == 0


def test_a_divided_canopy_has_twice_the_length_and_the_row_is_kept_apart(cast):
    row = {"row_length": {"value": 8, "unit": "ft"}, "pruning_weight": {"value": "4.8", "unit": "lb"}}
    single, divided = told(cast, **row, canopies=1), told(cast, **row, canopies=2)
    assert single["pruning_weight_per_canopy_metre"]["value"] == pytest.approx(0.6 * 1.48816, abs=1e-5)
    assert divided["pruning_weight_per_canopy_metre"]["value"] == pytest.approx(0.3 * 1.48816, abs=1e-5)
    assert {each["pruning_weight_per_row_metre"]["value"] for each in (single, divided)} == {
        single["pruning_weight_per_canopy_metre"]["value"]
    }


def test_the_range_follows_the_canopy(cast):
    """Kliewer & Dokoozlian 2005 (READ): 0.5-1.0 kg/m on a single canopy, 0.4-0.8 on a divided one."""
    asked = {"row_length": {"value": 1, "unit": "m"}, "cultivar": "chardonnay", "use": "wine"}
    found = [
        told(cast, **asked, canopies=canopies, pruning_weight=kg(weight))["pruning_weight_per_canopy_metre"]
        for canopies, weight in ((1, "0.45"), (2, "0.90"))
    ]
    assert [each["value"] for each in found] == [0.45, 0.45]
    assert [each["verdict"] for each in found] == ["below", "within"]


def test_canopies_that_were_not_said_are_one_and_that_is_said(cast):
    body = told(cast, row_length={"value": 2, "unit": "m"})
    assert any("one is reckoned with" in caution for caution in body["cautions"])
    assert not any(
        "one is reckoned with" in each
        for each in told(cast, row_length={"value": 2, "unit": "m"}, canopies=1)["cautions"]
    )


def test_canes_shoots_and_leaves_are_divided_too(cast):
    body = told(cast, row_length={"value": 2, "unit": "m"}, cane_count=30, count_shoots=28,
                leaf_area={"value": "23.8", "unit": "m2"})  # fmt: skip
    assert (body["mean_cane_weight"]["value"], body["mean_cane_weight"]["unit"]) == (51, "g")
    assert (body["shoots_per_canopy_metre"]["value"], body["shoots_per_canopy_metre"]["unit"]) == (14, "/m")
    assert body["leaf_area_per_yield"]["value"] == pytest.approx(1.178, abs=0.0005)
    assert body["leaf_area_per_canopy_metre"]["value"] == 11.9


def test_a_heavy_crop_of_unripe_seedless_grapes_is_flagged_as_a_guide(cast):
    """trade.md section 13, row 19: the standard covers vinifera, so for hybrids it is a guide."""
    body = told(cast, cultivar="jupiter", use="table", range="concord-lake-erie-crop-load",
                **{"yield": kg(25), "pruning_weight": kg(1), "soluble_solids": {"value": 13, "unit": "{Brix}"}})  # fmt: skip
    assert body["soluble_solids"]["verdict"] == "below"
    assert [flag["code"] for flag in body["flags"]] == ["heavy_crop_low_soluble_solids"]
    assert "Guide only" in body["flags"][0]["sentence"]


def test_ripe_fruit_and_fruit_without_a_judged_crop_are_not_flagged(cast):
    ripe = {"cultivar": "concord", "use": "juice", "yield": kg(30), "pruning_weight": kg(1)}
    assert told(cast, **ripe, soluble_solids={"value": 16, "unit": "{Brix}"})["flags"] == []
    assert told(cast, soluble_solids={"value": 9, "unit": "{Brix}"})["flags"] == []


@pytest.mark.parametrize(
    ("members", "status", "pointer"),
    [({"yield": kg(-1)}, 422, "#/yield"), ({"yield": kg(10**9)}, 422, "#/yield"),
     ({"pruning_weight": kg(10**8)}, 422, "#/pruning_weight"), ({"pruning_weight": {"value": 1, "unit": "m"}}, 400, "#/pruning_weight/unit"),
     ({"canopies": 5}, 400, "#/canopies"), ({"cane_count": -1}, 400, "#/cane_count"),
     ({"row_length": {"value": -2, "unit": "m"}}, 422, "#/row_length"),
     ({"range": "none-such"}, 422, "#/range"), ({"range": "ohio-nodes"}, 422, "#/range"),
     ({"cultivar": "concord", "cultivar_group": "vinifera"}, 422, "#/cultivar_group"),
     ({"crop": 1}, 400, "#/crop"), ({"yield_season": 1.5}, 400, "#/yield_season"), ({"use": "raisins"}, 400, "#/use"),
     ({"soluble_solids": {"value": 61, "unit": "{Brix}"}}, 422, "#/soluble_solids")],
)  # fmt: skip
def test_what_cannot_be_is_refused_by_its_name(members, status, pointer, cast):
    answer = ask(cast, **members)
    assert (answer.status_code, answer.json()["errors"][0]["pointer"]) == (status, pointer)


@pytest.mark.parametrize("wild", ["1e400", "NaN", "1e-300", "9" * 400])
def test_no_number_however_wild_breaks_it(wild, cast):
    body = f'{{"yield": {{"value": {wild}, "unit": "kg"}}, "pruning_weight": {{"value": {wild}, "unit": "kg"}}}}'
    answer = cast.nobody.post("/api/v1/balance/crop-load", body, content_type="application/json")
    assert 400 <= answer.status_code < 500


def test_rescaling_every_weight_from_pounds_to_kilograms_changes_no_verdict(cast):
    random = np.random.default_rng(2027)
    seen = set()
    for _ in range(60):
        wood = Decimal(int(random.integers(1, 400))) / 100
        crop = wood * int(random.integers(18, 42)) / 2
        verdicts = []
        for unit, factor in (("lb", Decimal(1)), ("kg", POUND)):
            sides = {"yield": (crop, unit), "pruning_weight": (wood, unit)}
            sent = {name: {"value": str(value * factor)[:16], "unit": unit} for name, (value, unit) in sides.items()}
            verdicts.append(told(cast, **sent, cultivar="concord", use="juice")["crop_load"]["verdict"])
        assert len(set(verdicts)) == 1
        seen |= set(verdicts)
    assert seen == {"below", "within", "above"}
