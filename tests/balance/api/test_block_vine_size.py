"""How large the vines of a block are, how that moves, and what it says for next winter."""

from __future__ import annotations

from typing import Any

import pytest

from records.access import enter, open_farm
from records.models import Cultivar, PruningFormula, Vine
from records.services.vineyards import create_block, create_row, plant_row
from records.units import Quantity

pytestmark = pytest.mark.django_db


class Ground:
    """A block of six vines of Concord for juice at 2 m, and ways to write down what grew on it; invented."""

    def __init__(self, cast: Any, **columns: Any) -> None:
        from decimal import Decimal

        enter(cast.owner.caller)
        self.cast, self.url = cast, f"/api/v1/farms/{cast.farm.pk}"
        opened = open_farm(cast.owner.caller, cast.farm.pk)
        columns = {"name": "Lower", "cultivar": Cultivar.objects.get(code="concord"), "use": "juice",
                   "vine_spacing": Quantity(Decimal(2), "m"), **columns}  # fmt: skip
        self.block = create_block(opened, None, columns).row
        plant_row(opened, create_row(opened, self.block, None, 1).row, 6)
        self.vines = list(Vine.objects.for_farm(cast.farm).filter(block=self.block).order_by("place"))

    def post(self, path: str, **members: Any) -> None:
        answer = self.cast.worker.client.post(f"{self.url}/{path}", members, format="json")
        assert answer.status_code == 201, answer.json()

    def weigh(self, season: int, *weights: float | None) -> None:
        for vine, kg in zip(self.vines, weights, strict=False):
            if kg is not None:
                self.post("dormant-records", vine=str(vine.pk), pruning_weight={"value": kg, "unit": "kg"},
                          observed_at=f"{season}-01-16T10:02:00-05:00")  # fmt: skip

    def count(self, season: int, *shoots: tuple[int, int | None]) -> None:
        for vine, (count, others) in zip(self.vines, shoots, strict=False):
            self.post("shoot-counts", vine=str(vine.pk), count_shoots=count, non_count_shoots=others,
                      observed_at=f"{season}-05-20T09:15:00-04:00")  # fmt: skip

    def harvest(self, season: int, kg: float) -> None:
        self.post("harvest-records", block=str(self.block.pk), scope="block", observed_at=f"{season}-09-28T11:00:00-04:00",
                  **{"yield": {"value": kg, "unit": "kg"}})  # fmt: skip

    def change(self, **members: Any) -> None:
        answer = self.cast.owner.client.patch(f"{self.url}/blocks/{self.block.pk}", members, format="json",
                                              headers={"If-Match": "*"})  # fmt: skip
        assert answer.status_code == 200, answer.json()

    def read(self, what: str, query: str = "", status: int = 200) -> dict[str, Any]:
        answer = self.cast.viewer.client.get(f"{self.url}/blocks/{self.block.pk}/{what}?{query}")
        assert answer.status_code == status, answer.json()
        body: dict[str, Any] = answer.json()
        return body


@pytest.fixture
def ground(cast: Any) -> Ground:
    return Ground(cast)


def test_prunings_are_told_by_the_vine_the_metre_of_canopy_and_the_metre_of_row(ground):
    ground.weigh(2027, 1.0, 1.2, 0.8, None)
    body = ground.read("vine-size")
    assert (body["season"], body["standing"], body["canopies"]) == (2027, 6, 1)
    by_vine = body["pruning_weight_per_vine"]
    assert (by_vine["value"], by_vine["unit"], by_vine["n"], by_vine["missing"]) == (1, "kg", 3, 3)
    assert by_vine["low"] < 1 < by_vine["high"]
    assert body["pruning_weight_per_canopy_metre"]["value"] == 0.5
    assert body["pruning_weight_per_row_metre"]["value"] == 0.5
    assert body["method"]["code"] == "vine-size"


@pytest.mark.parametrize("members", [{"canopies": 2}, {"training": "geneva_double_curtain"}])
def test_a_divided_canopy_doubles_the_canopy_and_not_the_row(ground, members):
    ground.weigh(2027, 1.0, 1.2, 0.8)
    ground.change(**members)
    body = ground.read("vine-size")
    assert (body["canopies"], body["pruning_weight_per_canopy_metre"]["value"]) == (2, 0.25)
    assert body["pruning_weight_per_row_metre"]["value"] == 0.5
    assert not any("one canopy is reckoned with" in caution for caution in body["cautions"])


def test_canopies_that_nobody_stated_are_one_and_that_is_said(ground):
    ground.weigh(2027, 1.0)
    assert any("one canopy is reckoned with" in caution for caution in ground.read("vine-size")["cautions"])


def test_shoots_and_canes_are_those_of_the_summer_in_which_the_wood_grew(ground):
    ground.weigh(2027, 1.0, 1.2)
    ground.count(2026, (30, 10), (36, None))
    ground.count(2027, (90, 10), (90, 10))
    body = ground.read("vine-size")
    assert (body["season"], body["shoots_season"]) == (2027, 2026)
    assert (body["shoots_per_canopy_metre"]["value"], body["shoots_per_canopy_metre"]["n"]) == (16.5, 2)
    assert (body["mean_cane_weight"]["value"], body["mean_cane_weight"]["n"]) == (25, 1)


def test_what_was_not_measured_has_a_reason_and_no_number(ground):
    ground.change(vine_spacing=None)
    body = ground.read("vine-size")
    assert (body["season"], body["shoots_season"]) == (None, None)
    figures = [body[name] for name in ("pruning_weight_per_vine", "pruning_weight_per_canopy_metre",
                                       "shoots_per_canopy_metre", "mean_cane_weight")]  # fmt: skip
    assert all(each["value"] is None and each["reason"] and each["verdict"] is None for each in figures)
    ground.weigh(2027, 1.0)
    assert "vine_spacing is not set" in ground.read("vine-size")["pruning_weight_per_canopy_metre"]["reason"]


def test_a_verdict_comes_where_a_range_covers_the_block(cast):
    """Kliewer & Dokoozlian 2005 (READ): 0.5-1.0 kg/m single, 0.4-0.8 divided, vinifera."""
    ground = Ground(cast, cultivar=Cultivar.objects.get(code="chardonnay"), use="wine")
    ground.weigh(2027, 0.9, 0.9)
    assert ground.read("vine-size")["pruning_weight_per_canopy_metre"]["verdict"] == "below"
    ground.weigh(2026, 1.8, 1.8)
    ground.change(canopies=2)
    found = ground.read("vine-size", "season=2026")["pruning_weight_per_canopy_metre"]
    assert (found["value"], found["verdict"], found["range"]["code"]) == (
        0.45,
        "within",
        "vinifera-wine-divided-pruning-weight",
    )


WEAKENING = ((2024, 1.52), (2025, 1.37), (2026, 1.22), (2027, 1.10))


def test_losing_size_above_the_range_of_the_crop_load_asks_for_fewer_nodes(ground):
    """Concord, Lake Erie: above 20 over-cropped, loses vine size (Cornell Lake Erie laboratory, READ)."""
    for season, mean in WEAKENING:
        ground.weigh(season, *[mean] * 6)
    for season, after in zip((2024, 2025, 2026), (1.37, 1.22, 1.10), strict=True):
        ground.harvest(season, round(6 * after * 22, 6))
    body = ground.read("vine-size-trend")
    assert (body["judgement"], body["advice"]["code"], body["advice"]["load"]) == (
        "weakening",
        "consider_fewer_nodes",
        "above",
    )
    assert body["advice"]["judged_seasons"] == 3
    assert body["change_a_year"]["value"] == pytest.approx(-10.3, abs=0.5)
    assert body["low"]["value"] < body["change_a_year"]["value"] < body["high"]["value"] < 0
    assert [each["season"] for each in body["winters"]] == [2024, 2025, 2026, 2027]
    assert [each["crop_before"] and each["crop_before"]["value"] for each in body["winters"]] == [None, 22, 22, 22]
    assert {each["crop_before"]["verdict"] for each in body["winters"][1:]} == {"above"}
    labels = [step["label"] for step in body["steps"]]
    assert labels[0] == "winters"
    assert labels[-4:] == ["crop of 2024", "crop of 2025", "crop of 2026", "judgement"]


def test_the_trend_advises_and_changes_no_formula(ground):
    formula = PruningFormula.objects.get(code="american-30-10-lb")
    for season, mean in WEAKENING:
        ground.weigh(season, *[mean] * 6)
    body = ground.read("vine-size-trend")
    assert body["cautions"][0].startswith("Advice only: no formula is changed")
    ground.block.refresh_from_db()
    assert (ground.block.pruning_formula, formula) == (None, PruningFormula.objects.get(code="american-30-10-lb"))


def test_losing_size_without_a_judged_crop_looks_for_another_cause(ground):
    for season, mean in WEAKENING:
        ground.weigh(season, *[mean] * 6)
    advice = ground.read("vine-size-trend")["advice"]
    assert (advice["code"], advice["load"]) == ("look_for_another_cause", "not_judged")


def test_two_winters_are_not_enough_and_no_change_is_told(ground):
    ground.weigh(2026, 1.0, 1.1)
    ground.weigh(2027, 0.8, 0.9)
    body = ground.read("vine-size-trend")
    assert (body["judgement"], body["advice"]["code"]) == ("not_enough_years", "keep_weighing")
    assert (body["change_a_year"]["value"], body["low"]["value"]) == (None, None)
    assert "a trend needs 3" in body["change_a_year"]["reason"]


def test_a_block_without_any_winter_has_an_answer(ground):
    body = ground.read("vine-size-trend")
    assert (body["winters"], body["judgement"]) == ([], "not_enough_years")


def test_winters_in_which_other_vines_were_weighed_are_named_as_a_doubt(ground):
    for season, mean in WEAKENING[:3]:
        ground.weigh(season, *[mean] * 6)
    ground.weigh(2027, None, None, 1.1, 1.1)
    body = ground.read("vine-size-trend")
    assert body["weighed_in_all"] == 2
    assert any("2 were weighed in all of them" in caution for caution in body["cautions"])


def test_more_confidence_makes_the_interval_wider(ground):
    for season, mean in ((2024, 1.5), (2025, 1.3), (2026, 1.25), (2027, 1.1)):
        ground.weigh(season, *[mean] * 3)
    narrow, wide = (ground.read("vine-size-trend", f"confidence={each}") for each in (80, 95))
    assert wide["low"]["value"] < narrow["low"]["value"] < narrow["high"]["value"] < wide["high"]["value"]


@pytest.mark.parametrize("what", ["vine-size?season=1", "vine-size?years=2", "vine-size-trend?confidence=70",
                                  "vine-size-trend?season=2027"])  # fmt: skip
def test_a_query_that_cannot_be_is_refused(what, ground):
    path, query = what.split("?")
    assert ground.read(path, query, status=400)["status"] == 400


def test_a_block_of_any_size_takes_the_same_number_of_queries(ground, django_assert_max_num_queries):
    for season, mean in WEAKENING:
        ground.weigh(season, *[mean] * 6)
    with django_assert_max_num_queries(24):
        ground.read("vine-size-trend")
    with django_assert_max_num_queries(30):
        ground.read("vine-size")
