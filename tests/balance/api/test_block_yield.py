"""The yield and the thinning of a block, from its own records; all figures invented."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

import numpy as np
import pytest

from balance.formulas.yields.estimates import ratio_of
from balance.yields.block_yields import yield_question
from records.access import enter, open_farm
from records.kinds.definitions import CLUSTER_COUNT, DORMANT_RECORD, HARVEST_RECORD, VINE_EVENT
from records.models import Cultivar
from records.services.vineyards import change_block, create_block
from records.units import Quantity
from tests.records.yard import Yard

pytestmark = pytest.mark.django_db


class Season(Yard):
    """A block of twelve vines through a year, and what is asked of it."""

    def __init__(self, cast: Any) -> None:
        super().__init__(cast)
        self.viewer = cast.viewer.client

    def count(
        self, vine: int, clusters: int | None, year: int = 2027, *, early: tuple[float, int] | None = None, **more: Any
    ) -> None:
        lag: dict[str, Any] = {"lag_phase_weight": ..., "lag_phase_clusters": ...}
        if early is not None:
            lag = {"lag_phase_weight": {"value": early[0], "unit": "g"}, "lag_phase_clusters": early[1]}
        told = {
            "clusters_before_thinning": ... if clusters is None else clusters, "clusters_after_thinning": ...,
            "observed_at": f"{year}-08-02T08:40:00-04:00", **lag, **more,
        }  # fmt: skip
        self._stored(CLUSTER_COUNT, vine, told)

    def pick(self, vine: int, year: int, fruit_g: float, clusters: int | None, **more: Any) -> None:
        told = {
            "observed_at": f"{year}-09-28T11:00:00-04:00", "yield": {"value": fruit_g, "unit": "g"},
            "marketable_yield": ..., "clusters": ... if clusters is None else clusters, **more,
        }  # fmt: skip
        self._stored(HARVEST_RECORD, vine, told)

    def weigh(self, vine: int, pounds: float) -> None:
        told = {"pruning_weight": {"value": pounds, "unit": "[lb_av]"}, "observed_at": "2027-01-16T10:02:00-05:00"}
        self._stored(DORMANT_RECORD, vine, told)

    def lose(self, vine: int, day: str = "2026-06-01", event: str = "missing") -> None:
        told = {"event": event, "observed_at": f"{day}T14:00:00-04:00", "happened_on": ..., "rootstock": ...}
        self._stored(VINE_EVENT, vine, told)

    def _stored(self, kind: Any, vine: int, told: dict[str, Any]) -> None:
        answer = self.post(kind, self.new(kind, vine=str(self.vines[vine].pk), **told))
        assert answer.status_code == 201, answer.json()

    def asked(self, what: str, query: str = "") -> Any:
        answer = self.viewer.get(f"{self.url}/blocks/{self.block.pk}/{what}?{query}")
        assert answer.status_code == 200, answer.json()
        return answer.json()

    def ways(self, query: str = "season=2027") -> dict[str, Any]:
        return {way["method"]["code"]: way for way in self.asked("yield-estimate", query)["estimates"]}


@pytest.fixture
def block(cast) -> Season:
    return Season(cast)


def test_a_block_without_records_has_reasons_and_no_numbers(block):
    body = block.asked("yield-estimate")
    assert (body["season"], body["places"], body["missing_vines"]) == (None, 12, 0)
    assert body["clusters_per_vine"]["value"] is None
    assert {way["total"]["value"] for way in body["estimates"]} == {None}
    assert all(way["total"]["reason"] for way in body["estimates"])


def test_clusters_counted_and_the_lag_phase_of_the_season_give_the_yield(block):
    for vine, clusters in enumerate((40, 44, 36, 40)):
        block.count(vine, clusters, early=(540 + vine, 10))
    way = block.ways()["lag_phase_default_factor"]
    assert way["per_vine"]["value"] == pytest.approx(40 * 2 * 0.05415)
    assert way["total"]["value"] == pytest.approx(12 * 40 * 2 * 0.05415)
    assert way["total"]["low"] < way["total"]["value"] < way["total"]["high"]


def test_clusters_after_thinning_come_before_those_that_were_there(block):
    block.count(0, 60, clusters_after_thinning=40)
    block.count(1, 44)
    assert block.asked("yield-estimate")["clusters_per_vine"]["value"] == 42


def test_the_error_of_clusters_per_vine_shrinks_with_the_share_of_vines_that_were_counted(block):
    for vine in range(11):
        block.count(vine, 40 + vine)
    nearly_all = block.asked("yield-estimate")["clusters_per_vine"]["standard_error"]
    block.count(11, 51)
    all_of_them = block.asked("yield-estimate")["clusters_per_vine"]
    assert 0 < nearly_all < np.std(range(12), ddof=1) / 11**0.5
    assert (all_of_them["standard_error"], all_of_them["n"]) == (0, 12)


def test_missing_vines_are_subtracted_and_what_was_counted_on_their_places_is_left_out(block):
    block.count(0, 40, early=(540, 10))
    block.count(1, 44, early=(540, 10))
    block.lose(1)
    body = block.asked("yield-estimate")
    assert (body["missing_vines"], body["bearing_vines"]["value"]) == (1, 11)
    assert (body["clusters_per_vine"]["value"], body["clusters_per_vine"]["n"]) == (40, 1)


def test_a_replanted_vine_bears_by_the_count_and_is_named_as_young(block):
    block.lose(1)
    block.lose(1, "2027-04-28", "replanted")
    body = block.asked("yield-estimate", "season=2027")
    assert (body["missing_vines"], body["young_vines"], body["bearing_vines"]["value"]) == (0, 1, 12)
    assert any("1 vine was planted" in caution for caution in body["cautions"])


def test_the_blocks_own_factor_and_the_default_are_shown_side_by_side(block):
    for year, fruit, early in ((2024, 1200, 500), (2025, 1100, 500), (2026, 1000, 500)):
        block.count(0, 40, year, early=(early, 10))
        block.pick(0, year, fruit, 10)
    block.count(0, 40, early=(600, 10))
    body = block.asked("yield-estimate", "season=2027")
    factors = body["factors"]
    assert factors["default_factor"]["value"] == 2
    assert (factors["own_factor"]["value"], factors["own_factor"]["n"]) == (pytest.approx(2.2), 3)
    assert factors["own_standard_deviation"] == pytest.approx(0.2)
    assert [each["factor"] for each in body["earlier_seasons"]] == pytest.approx([2.4, 2.2, 2.0])
    weights = {way["method"]["code"]: way["cluster_weight"]["value"] for way in body["estimates"]}
    assert weights["lag_phase_default_factor"] == pytest.approx(0.12)
    assert weights["lag_phase_own_factor"] == pytest.approx(0.132)
    assert weights["cluster_weight_of_earlier_seasons"] == pytest.approx(0.11)


def test_a_later_season_tells_nothing_of_an_earlier_one(block):
    block.count(0, 40, 2025, early=(500, 10))
    block.pick(0, 2026, 1200, 10)
    assert block.asked("yield-estimate", "season=2025")["earlier_seasons"] == []


def test_a_season_with_one_of_the_two_weights_gives_no_factor(block):
    block.pick(0, 2026, 1200, 10)
    body = block.asked("yield-estimate", "season=2027")
    assert (body["factors"]["own_factor"]["value"], body["earlier_seasons"][0]["lag_phase_kg"]) == (None, None)


def test_pickings_of_a_season_count_by_their_clusters(block):
    block.pick(0, 2026, 1000, 10)
    block.pick(1, 2026, 6000, 30)
    assert block.asked("yield-estimate", "season=2027")["earlier_seasons"][0]["final_kg"] == pytest.approx(7 / 40)


def test_a_weighed_cluster_weight_stands_where_clusters_were_not_counted(block):
    block.pick(0, 2026, 9000, None, cluster_weight={"value": 110, "unit": "g"})
    block.pick(1, 2026, 6000, 30)
    assert block.asked("yield-estimate", "season=2027")["earlier_seasons"][0]["final_kg"] == pytest.approx(
        (0.11 + 0.2) / 2
    )


def test_clusters_weighed_this_season_are_a_way_of_their_own(block):
    block.count(0, 40)
    block.pick(0, 2027, 1200, 10)
    block.pick(1, 2027, 1000, 10)
    way = block.ways()["cluster_weight_of_this_season"]
    assert (way["cluster_weight"]["value"], way["cluster_weight"]["n"]) == (pytest.approx(0.11), 2)


def test_a_weight_that_no_cluster_has_is_left_out_and_said(block):
    block.count(0, 40, early=(450_000, 1))
    block.pick(0, 2026, 60_000_000, 1)
    body = block.asked("yield-estimate", "season=2027")
    assert body["earlier_seasons"] == []
    assert any("450 kg a cluster" in caution for caution in body["cautions"])


def test_what_was_withdrawn_says_nothing(block):
    block.count(0, 40)
    record = block.client.get(f"{block.url}/{CLUSTER_COUNT.path}").json()["results"][0]
    block.client.delete(block.at(CLUSTER_COUNT, record), headers={"If-Match": "*"})
    assert block.asked("yield-estimate", "season=2027")["clusters_per_vine"]["value"] is None


def test_a_hectare_goes_by_the_declared_area_else_by_the_spacing(block, cast):
    block.count(0, 40, early=(500, 10))
    assert "spacing" in block.ways()["lag_phase_default_factor"]["per_hectare"]["reason"]
    changed(cast, block, vine_spacing=Quantity(Decimal(2), "m"), row_spacing=Quantity(Decimal(3), "m"))
    assert block.ways()["lag_phase_default_factor"]["per_hectare"]["value"] == pytest.approx(12 * 4 / 1000 / 0.0072)
    changed(cast, block, declared_area=Quantity(Decimal(100), "m2"))
    assert block.ways()["lag_phase_default_factor"]["per_hectare"]["value"] == pytest.approx(12 * 4 / 1000 / 0.01)


def changed(cast: Any, block: Season, **columns: Any) -> None:
    enter(cast.owner.caller)
    change_block(open_farm(cast.owner.caller, cast.farm.pk), block.block.pk, columns, version=None)


def test_printed_weights_of_the_cultivar_serve_only_while_the_block_has_none(block, cast):
    enter(cast.owner.caller)
    opened = open_farm(cast.owner.caller, cast.farm.pk)
    change_block(opened, block.block.pk, {"cultivar": Cultivar.objects.get(code="jupiter")}, version=None)
    block.count(0, 40)
    before = block.asked("yield-estimate")["printed_weights"]
    assert (before["used"], before["total_low"]["value"], before["total_high"]["value"]) == (True, 96, 120)
    block.pick(0, 2026, 1800, 10)
    after = block.asked("yield-estimate")["printed_weights"]
    assert (after["used"], after["total_low"]["value"], after["highest_g"]) == (False, None, 250)


def test_a_block_without_vines_is_told_so(cast):
    enter(cast.owner.caller)
    bare = create_block(open_farm(cast.owner.caller, cast.farm.pk), None, {"name": "Bare ground"}).row
    for what in ("yield-estimate?season=2027", "thinning?crop_load=7"):
        answer = cast.viewer.client.get(f"/api/v1/farms/{cast.farm.pk}/blocks/{bare.pk}/{what}")
        assert (answer.status_code, answer.json()["errors"][0]["code"]) == (422, "no_vines")


def test_the_lag_phase_is_a_ratio_of_sums_over_vines(block, cast):
    early = [(540.0, 10), (300.0, 5), (700.0, 14)]
    for vine, each in enumerate(early):
        block.count(vine, 40, early=each)
    enter(cast.owner.caller)
    question = yield_question(open_farm(cast.owner.caller, cast.farm.pk), block.block, 2027).question
    expected = ratio_of([each[0] / 1000 for each in early], [each[1] for each in early])
    assert question.lag_phase is not None
    assert question.lag_phase.value == pytest.approx(expected.value)
    assert question.lag_phase.standard_error == pytest.approx(expected.standard_error)


def test_a_block_takes_the_same_number_of_queries_however_many_records_it_has(block, django_assert_max_num_queries):
    for vine in range(12):
        block.count(vine, 40 + vine, early=(500, 10))
        block.weigh(vine, 2.0)
    for what in ("yield-estimate?season=2027", "thinning?season=2027&crop_load=7"):
        with django_assert_max_num_queries(22):
            assert block.viewer.get(f"{block.url}/blocks/{block.block.pk}/{what}").status_code == 200


def thinned(block: Season, query: str = "crop_load=10") -> Any:
    return block.asked("thinning", f"season=2027&{query}")


@pytest.fixture
def to_thin(block):
    """Six vines told apart: ok, too few clusters, not counted, not weighed, missing, zero prunings."""
    for vine, clusters in ((0, 60), (1, 10), (3, 40), (4, 40), (5, 8)):
        block.count(vine, clusters, early=(50 * 10, 10))
    for vine, pounds in ((0, 1.0), (1, 1.0), (2, 2.0), (4, 1.0), (5, 0)):
        block.weigh(vine, pounds)
    block.lose(4)
    return block


def rows(body: dict[str, Any], *names: str) -> list[tuple[Any, ...]]:
    return [tuple(row[name] for name in names) for row in body["results"][:6]]


def test_each_vine_is_thinned_by_its_own_pruning_weight(to_thin):
    """A crop load of 10 on 1 lb is 4.536 kg: 45 clusters of 2 × 50 g."""
    body = thinned(to_thin)
    assert rows(body, "status", "clusters_counted", "clusters_to_leave", "clusters_to_take_off", "clusters_lacking") == [
        ("ok", 60, 45, 15, 0), ("ok", 10, 45, 0, 35), ("not_counted", None, 91, None, None),
        ("not_weighed", 40, None, None, None), ("missing", 40, None, None, None), ("ok", 8, 0, 8, 0),
    ]  # fmt: skip
    assert (body["count"], body["with_number"]) == (12, 4)
    assert body["results"][0]["expected_yield_kg"] == pytest.approx(4.5)


def test_the_weight_of_last_winter_is_named_as_a_stand_in(to_thin):
    assert "LAST winter's pruning weight" in thinned(to_thin)["cautions"][0]
    assert not any("LAST winter" in caution for caution in thinned(to_thin, "yield_per_vine=4")["cautions"])


def test_one_wanted_yield_serves_vines_that_were_not_weighed_too(to_thin):
    body = thinned(to_thin, "yield_per_vine=4")
    assert rows(body, "status", "clusters_to_leave") == [
        ("ok", 40), ("ok", 40), ("not_counted", 40), ("ok", 40), ("missing", None), ("ok", 40),
    ]  # fmt: skip


def test_pounds_and_kilograms_of_one_wanted_yield_are_one_advice(to_thin):
    pounds, kilograms = (
        rows(thinned(to_thin, query), "clusters_to_leave", "clusters_to_take_off")
        for query in ("yield_per_vine=9&unit=[lb_av]", "yield_per_vine=4.08233133&unit=kg")
    )
    assert pounds == kilograms


def test_the_nearest_weight_of_a_cluster_serves_and_the_others_are_shown(to_thin):
    assert thinned(to_thin)["cluster_weight"]["method"]["code"] == "lag_phase_default_factor"
    to_thin.pick(0, 2026, 1500, 10)
    assert thinned(to_thin)["cluster_weight"]["method"]["code"] == "cluster_weight_of_earlier_seasons"
    to_thin.count(0, 40, 2026, early=(600, 10))
    body = thinned(to_thin)
    assert body["cluster_weight"]["method"]["code"] == "lag_phase_own_factor"
    assert body["cluster_weight"]["cluster_weight"]["value"] == pytest.approx(0.05 * 2.5)
    shown = {way["method"]["code"]: way["cluster_weight"]["value"] for way in body["other_weights"]}
    assert shown["cluster_weight_of_earlier_seasons"] == pytest.approx(0.15)
    assert shown["lag_phase_default_factor"] == pytest.approx(0.1)


def test_a_weight_that_is_sent_comes_first(to_thin):
    body = thinned(to_thin, "crop_load=10&cluster_weight=0.5&cluster_weight_unit=[lb_av]")
    assert body["cluster_weight"]["method"]["code"] == "cluster_weight_as_sent"
    assert body["results"][0]["clusters_to_leave"] == 20


def test_without_any_weight_of_a_cluster_there_is_a_reason_and_no_number(block):
    block.count(0, 60)
    block.weigh(0, 2.0)
    body = thinned(block)
    assert (body["results"][0]["status"], body["results"][0]["clusters_to_leave"]) == ("no_cluster_weight", None)
    assert "weigh clusters" in body["cluster_weight"]["cluster_weight"]["reason"]


def test_one_row_can_be_asked_for_alone(to_thin):
    assert thinned(to_thin, "crop_load=10&row_number=1")["count"] == 12
    assert thinned(to_thin, "crop_load=10&row_number=2") == {
        **thinned(to_thin),
        "count": 0,
        "with_number": 0,
        "results": [],
    }


@pytest.mark.parametrize(
    ("query", "status"),
    [("", 422), ("crop_load=7&yield_per_vine=4", 422), ("crop_load=0", 422), ("crop_load=1e9", 400),
     ("crop_load=nan", 400), ("yield_per_vine=-1", 422), ("yield_per_vine=5000001", 422), ("yield_per_vine=5001", 422),
     ("yield_per_vine=4&unit=t", 400), ("crop_load=7&cluster_weight=0", 422), ("crop_load=7&cluster_weight=20001", 422),
     ("yield_per_vine=1105570.791423404&unit=g", 422), ("crop_load=7&cluster_weight=4612.440003311821", 422),
     ("crop_load=7&row_number=0", 400), ("crop_load=7&x=1", 400)],
)  # fmt: skip
def test_a_question_that_cannot_be_answered_is_refused_and_named(query, status, block):
    answer = block.viewer.get(f"{block.url}/blocks/{block.block.pk}/thinning?{query}")
    assert answer.status_code == status
    assert answer.json()["errors"]


def test_heavy_prunings_and_the_highest_crop_load_are_answered(block):
    block.weigh(0, 110)
    block.count(0, 60, early=(500, 10))
    assert thinned(block, "crop_load=100")["results"][0]["clusters_to_leave"] == 49895
