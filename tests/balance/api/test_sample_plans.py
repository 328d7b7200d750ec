"""Which vines of a block to weigh: how many and why, drawn by a seed, in the order in which they are walked to."""

from __future__ import annotations

import statistics
import uuid
from datetime import UTC, datetime
from typing import Any

import pytest

from balance.formulas.samples.sample_draw import stratified, systematic
from balance.formulas.samples.sample_size import vines_needed
from balance.samples.sampling import season_ahead
from records.models import Farm
from tests.balance.api.plot import UNEVEN, Plot

pytestmark = pytest.mark.django_db


@pytest.fixture
def plot(cast) -> Plot:
    return Plot(cast)


def plan(plot: Plot, query: str = "") -> dict[str, Any]:
    return plot.told("sample-plan", f"season=2027&{query}")


def drawn(plot: Plot, query: str = "seed=7") -> list[str]:
    return [each["vine"] for each in plan(plot, query)["results"]]


def test_without_weights_of_its_own_a_block_takes_the_stated_default_and_says_so(plot):
    body = plan(plot)
    assert (body["spread"]["value"], body["spread"]["taken_from"]) == (35.0, "default")
    assert "35 %" in body["spread"]["reason"]
    assert body["size"]["value"] == body["count"] == vines_needed(10, 95, 35, 30).vines


def test_the_newest_earlier_season_with_ten_weights_tells_the_spread(plot):
    plot.weigh(UNEVEN, 2024)
    plot.weigh([5.0 * each for each in UNEVEN[:10]], 2025)
    plot.weigh([1.0, 9.0, 2.0], 2026)
    plot.weigh([1.0 + each for each in UNEVEN], 2027)
    spread = plan(plot)["spread"]
    assert (spread["season"], spread["weights"], spread["taken_from"], spread["reason"]) == (2025, 10, "block", None)
    own = 100 * statistics.stdev(UNEVEN[:10]) / statistics.mean(UNEVEN[:10])
    assert spread["value"] == pytest.approx(own)
    assert plan(plot, "error=15")["size"]["value"] == vines_needed(15, 95, own, 30).vines


def test_withdrawn_weights_tell_no_spread(plot):
    plot.weigh(UNEVEN[:10], 2026)
    records = plot.cast.viewer.client.get(f"{plot.url}/dormant-records?season=2026&limit=1").json()
    first = records["results"][0]["id"]
    plot.cast.worker.client.delete(f"{plot.url}/dormant-records/{first}", headers={"If-Match": "*"})
    assert plan(plot)["spread"]["taken_from"] == "default"


def test_the_vines_are_named_in_walking_order_and_are_those_of_the_formula(plot):
    body = plan(plot, "seed=7")
    n = body["count"]
    assert [each["vine"] for each in body["results"]] == [plot.vines[at] for at in systematic(30, n, 7)]
    walked = [(each["row_number"], each["place"]) for each in body["results"]]
    assert walked == sorted(walked)
    assert [each["order"] for each in body["results"]] == list(range(1, n + 1))


def test_the_same_seed_draws_the_same_vines_and_an_answer_without_one_carries_its_own(plot):
    first = plan(plot, "vines=8")
    again = plan(plot, f"vines=8&seed={first['seed']}")
    assert again == first
    others = {tuple(drawn(plot, f"vines=8&seed={seed}&method=stratified")) for seed in range(20)}
    assert len(others) == 20


def test_a_draw_without_a_seed_is_not_always_the_same(plot):
    assert len({plan(plot, "vines=2")["seed"] for _ in range(5)}) > 1


def test_serpentine_walks_the_same_vines_another_way(plot):
    straight, turning = (plan(plot, f"seed=7&serpentine={each}")["results"] for each in ("false", "true"))
    assert {each["vine"] for each in straight} == {each["vine"] for each in turning}
    places = [each["place"] for each in turning if each["row_number"] == 2]
    assert len(places) > 1
    assert places == sorted(places, reverse=True)


def test_missing_vines_are_skipped_and_those_replanted_are_not(plot):
    for vine in plot.vines[:9]:
        plot.tell(vine, "missing")
    plot.tell(plot.vines[0], "replanted", "2027-04-20")
    plot.tell(plot.vines[20], "missing", "2028-06-01")
    body = plan(plot, "vines=22")
    assert (body["population"], body["missing"], body["count"]) == (22, 8, 22)
    assert {each["vine"] for each in body["results"]} == {plot.vines[0], *plot.vines[9:]}


def test_a_stratified_draw_takes_its_share_of_each_row(plot):
    body = plan(plot, "vines=9&method=stratified&row_groups=3&seed=7")
    assert [each["row_number"] for each in body["results"]] == [1, 1, 1, 2, 2, 2, 3, 3, 3]
    assert (body["draw"]["code"], body["row_groups"], body["interval"]) == ("stratified", 3, None)


def test_a_stratified_draw_is_that_of_the_formula(plot):
    at = stratified([uuid.UUID(each).bytes for each in plot.vines], [number // 10 for number in range(30)], 5, 7)
    assert drawn(plot, "vines=5&method=stratified&row_groups=3&seed=7") == [plot.vines[each] for each in at]


def test_vines_are_added_to_a_stratified_draw_without_losing_any(plot):
    fewer, more = (set(drawn(plot, f"vines={n}&method=stratified&seed=7")) for n in (8, 13))
    assert fewer < more


def test_asked_for_so_many_vines_it_tells_the_error_to_expect(plot):
    body = plan(plot, "vines=12&seed=7")
    assert body["size"]["value"] == 12
    assert body["expected_error"]["value"] == pytest.approx(17.225, abs=0.001)  # 2.201 x 35 x sqrt(1/12 - 1/30)
    assert [step["label"] for step in body["steps"]] == ["spread of single vines", "error to expect"]


def test_one_vine_of_many_has_no_error_to_expect_but_a_reason(plot):
    error = plan(plot, "vines=1")["expected_error"]
    assert (error["value"], "needs two" in error["reason"]) == (None, True)


def test_more_vines_than_stand_are_refused_with_the_number_that_stands(plot):
    answer = plot.ask("sample-plan", "season=2027&vines=31")
    assert (answer.status_code, answer.json()["errors"][0]["code"]) == (422, "out_of_range")
    assert "30 vines stand" in answer.json()["errors"][0]["detail"]


def test_it_says_which_of_the_drawn_vines_are_weighed_already(plot):
    plot.weigh([1.0, None, 1.2], 2027)
    told = {each["vine"]: each["weighed"] for each in plan(plot, "vines=30")["results"]}
    assert [told[vine] for vine in plot.vines[:4]] == [True, False, True, False]


def test_the_mark_of_the_frame_changes_when_a_vine_goes_missing_and_only_then(plot):
    once, again = plan(plot, "seed=1")["frame"], plan(plot, "seed=2&method=stratified")["frame"]
    plot.tell(plot.vines[3], "missing")
    assert once == again != plan(plot, "seed=1")["frame"]


def test_a_block_without_vines_has_a_reason_and_no_number(cast, plot):
    made = cast.owner.client.post(f"{plot.url}/blocks", {"name": "Bare ground"}, format="json").json()
    body = cast.viewer.client.get(f"{plot.url}/blocks/{made['id']}/sample-plan").json()
    assert (body["size"]["value"], body["results"], body["steps"]) == (None, [], [])
    assert "No vine" in body["size"]["reason"]


def test_the_answer_carries_its_method_inputs_steps_and_cautions(plot):
    body = plan(plot, "error=8&confidence=90")
    assert (body["method"]["code"], body["draw"]["code"]) == ("vines-for-a-mean", "systematic")
    assert {each["name"]: each["value"] for each in body["inputs"]} == {
        "error": 8, "confidence": 90, "vines_asked_for": None, "vines_standing": 30,
    }  # fmt: skip
    assert [each["label"] for each in body["steps"]][-2:] == ["finite correction", "error to expect"]
    assert any("Draw once" in each for each in body["cautions"])


@pytest.mark.parametrize(
    ("hemisphere", "zone", "now", "season"),
    [("north", "America/New_York", "2026-08-02", 2027), ("north", "America/New_York", "2026-12-02", 2027),
     ("north", "America/New_York", "2027-03-02", 2027), ("south", "Australia/Adelaide", "2026-06-02", 2027),
     ("south", "Australia/Adelaide", "2026-12-15", 2028), ("south", "Australia/Adelaide", "2027-02-02", 2028)],
)  # fmt: skip
def test_without_a_season_it_is_that_of_this_winter_or_of_the_next(hemisphere, zone, now, season):
    farm = Farm(hemisphere=hemisphere, time_zone=zone)
    assert season_ahead(farm, datetime.fromisoformat(now).replace(hour=12, tzinfo=UTC)) == season


@pytest.mark.parametrize(
    ("query", "status"),
    [("error=0", 400), ("error=51", 400), ("confidence=100", 400), ("method=by-eye", 400), ("seed=-1", 400), ("seed=1000000000", 400),
     ("vines=0", 400), ("row_groups=0", 400), ("serpentine=maybe", 400), ("eror=5", 400)],
)  # fmt: skip
def test_a_parameter_that_cannot_be_is_named(query, status, plot):
    answer = plot.ask("sample-plan", query)
    assert (answer.status_code, answer.json()["errors"][0]["parameter"]) == (status, query.split("=")[0])


def test_a_plan_of_any_size_takes_the_same_number_of_queries(plot, django_assert_max_num_queries):
    plot.weigh(UNEVEN, 2026)
    with django_assert_max_num_queries(17):
        plan(plot, "seed=7")
