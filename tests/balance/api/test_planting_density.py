"""Vines by the spacing, and the two catalogues that go with yield and thinning."""

from __future__ import annotations

from typing import Any

import pytest
from rest_framework.test import APIClient

from balance.formulas.methods import READ, READ_LOW

pytestmark = pytest.mark.django_db


@pytest.fixture
def anybody() -> APIClient:
    """A caller without a key."""
    return APIClient()


def ask(anybody: APIClient, vine: Any, row: Any, unit: str = "ft", **more: Any) -> Any:
    body = {"vine_spacing": {"value": vine, "unit": unit}, "row_spacing": {"value": row, "unit": unit}, **more}
    return anybody.post("/api/v1/balance/planting-density", body, format="json")


def test_six_by_nine_feet_are_807_vines_an_acre(anybody):
    """Dami, OSU/OARDC, How to estimate grape yields (READ)."""
    body = ask(anybody, 6, 9).json()
    assert body["vines_per_acre"] == {
        "value": 807, "unit": "1/(4840.[syd_i])", "reason": None, "range": None, "verdict": None,
    }  # fmt: skip
    assert body["vines_per_acre_unrounded"] == pytest.approx(806.667, abs=1e-3)


def test_the_row_of_a_hundredth_of_an_acre_comes_in_the_unit_that_was_sent(anybody):
    """lergp.com prints 45.9 ft at 10 ft rows in error; it is 43.56 ft."""
    feet, metres = ask(anybody, 8, 10).json(), ask(anybody, 2.4384, 3.048, "m").json()
    assert feet["row_length_of_hundredth_acre"]["value"] == pytest.approx(43.56)
    assert metres["row_length_of_hundredth_acre"]["value"] == pytest.approx(43.56 * 0.3048)
    assert (feet["row_length_of_hundredth_acre"]["unit"], metres["row_length_of_hundredth_acre"]["unit"]) == (
        "[ft_i]",
        "m",
    )


def test_an_area_of_its_own_may_be_sent(anybody):
    assert ask(anybody, 2, 2.5, "m", area={"value": 3, "unit": "har"}).json()["vines_on_area"]["value"] == 6000
    assert ask(anybody, 2, 2.5, "m").json()["vines_on_area"]["reason"] == "No area was sent."


@pytest.mark.parametrize(("vine", "row", "at"), [(0, 3, "vine_spacing"), (2, 0.4, "row_spacing"), (2, -3, "row_spacing"),
                                                 ("0.000000000001", 3, "vine_spacing"), (2, 13, "row_spacing")])  # fmt: skip
def test_a_spacing_that_no_vineyard_has_is_422_and_named(vine, row, at, anybody):
    answer = ask(anybody, vine, row, "m")
    assert (answer.status_code, answer.json()["errors"][0]["pointer"]) == (422, f"#/{at}")


def test_a_spacing_is_given_back_as_a_person_writes_it(anybody):
    assert ask(anybody, 0, 3, "m").json()["detail"].startswith("0 m lies outside 0.3 to 12 m.")


def test_an_area_without_measure_is_422_and_a_mass_is_no_area(anybody):
    assert ask(anybody, 2, 3, "m", area={"value": 0, "unit": "m2"}).status_code == 422
    assert ask(anybody, 2, 3, "m", area={"value": 1, "unit": "kg"}).status_code == 400


def test_every_printed_weight_names_its_source_and_none_is_from_memory(anybody):
    rows = anybody.get("/api/v1/cluster-weights").json()
    assert {row["source_mark"] for row in rows} <= {READ, READ_LOW}
    assert all(row["source"] and row["low_g"] <= row["high_g"] for row in rows)
    assert len({(row["code"], row["version"]) for row in rows}) == len(rows)


def test_printed_weights_of_one_cultivar_may_be_asked_for(anybody):
    rows = anybody.get("/api/v1/cluster-weights?cultivar=villard-blanc").json()
    assert sorted(row["low_g"] for row in rows) == [58, 238, 287.1]
    assert anybody.get("/api/v1/cluster-weights?cultivar=none-such").json() == []


def test_the_rules_by_length_name_their_steps_their_growing_system_and_no_default(anybody):
    rows = {row["code"]: row for row in anybody.get("/api/v1/thinning-rules").json()}
    tunnel, grower = rows["high-tunnel-8-20-in"], rows["grower-8-15-in"]
    assert (tunnel["growing_system"], grower["growing_system"]) == ("high_tunnel", "")
    assert (tunnel["one_up_to"], grower["one_up_to"]) == (
        {"value": 20, "unit": "[in_i]"},
        {"value": 15, "unit": "[in_i]"},
    )
    assert rows["jupiter-neptune-two"]["none_up_to"] is None
    assert not any("default" in name for row in rows.values() for name in row)


@pytest.mark.parametrize("address", ["cluster-weights?season=2027", "thinning-rules?x=1"])
def test_an_unknown_parameter_is_refused(address, anybody):
    assert anybody.get(f"/api/v1/{address}").status_code == 400
