"""The crop load of a block: the harvest over the prunings of the winter after it, vine by vine and in all."""

from __future__ import annotations

from typing import Any

import pytest

from records.access import enter, open_farm
from records.models import BalanceRange, Cultivar, RangeChoice, Vine
from records.services.vineyards import create_block, create_row, plant_row

pytestmark = pytest.mark.django_db
#: Yield of harvest 2026 and prunings of the winter after it, of the first vines [kg]; invented.
YIELDS = [12.0, 9.0, 0.0, 8.0, None]
PRUNINGS = [1.0, 0.6, 0.5, None, 0.9]


class Ground:
    """A block of eight vines of Concord for juice, and ways to write down what it brought."""

    def __init__(self, cast: Any) -> None:
        enter(cast.owner.caller)
        self.cast, self.url = cast, f"/api/v1/farms/{cast.farm.pk}"
        opened = open_farm(cast.owner.caller, cast.farm.pk)
        columns = {"name": "Lower", "cultivar": Cultivar.objects.get(code="concord"), "use": "juice"}
        self.block = create_block(opened, None, columns).row
        for number in (1, 2):
            plant_row(opened, create_row(opened, self.block, None, number).row, 4)
        self.vines = list(Vine.objects.for_farm(cast.farm).filter(block=self.block).order_by("row_number", "place"))

    def post(self, path: str, **members: Any) -> dict[str, Any]:
        answer = self.cast.worker.client.post(f"{self.url}/{path}", members, format="json")
        assert answer.status_code == 201, answer.json()
        made: dict[str, Any] = answer.json()
        return made

    def weigh(self, vine: int, kg: float | None, season: int = 2027) -> dict[str, Any]:
        weight = None if kg is None else {"value": kg, "unit": "kg"}
        return self.post("dormant-records", vine=str(self.vines[vine].pk), pruning_weight=weight,
                         observed_at=f"{season}-01-16T10:02:00-05:00")  # fmt: skip

    def pick(
        self, vine: int | None = None, kg: float | None = None, scope: str = "vine", season: int = 2026, **more: Any
    ) -> Any:
        about = {"block": str(self.block.pk)} if vine is None else {"vine": str(self.vines[vine].pk)}
        return self.post("harvest-records", **about, scope=scope, observed_at=f"{season}-09-28T11:00:00-04:00",
                         **{"yield": None if kg is None else {"value": kg, "unit": "kg"}}, **more)  # fmt: skip

    def lose(self, vine: int, season: int = 2026) -> None:
        self.post(
            "vine-events", vine=str(self.vines[vine].pk), event="missing", observed_at=f"{season}-04-28T14:00:00-04:00"
        )

    def read(self, query: str = "season=2026", status: int = 200) -> dict[str, Any]:
        answer = self.cast.viewer.client.get(f"{self.url}/blocks/{self.block.pk}/crop-load?{query}")
        assert answer.status_code == status
        body: dict[str, Any] = answer.json()
        return body


@pytest.fixture
def ground(cast: Any) -> Ground:
    return Ground(cast)


@pytest.fixture
def picked(ground: Ground) -> Ground:
    for vine, kg in enumerate(YIELDS):
        ground.pick(vine, kg)
    for vine, kg in enumerate(PRUNINGS):
        ground.weigh(vine, kg)
    return ground


def test_each_vine_that_was_picked_by_itself_has_its_ratio_or_the_reason(picked):
    results = picked.read()["results"]
    assert [each["crop_load"] for each in results] == [12, 15, 0, None, None]
    assert [each["status"] for each in results] == ["ok", "ok", "ok", "prunings_not_weighed", "yield_not_weighed"]
    assert [each["verdict"] for each in results] == ["within", "within", "below", None, None]
    assert [(each["row_number"], each["place"]) for each in results] == [(1, 1), (1, 2), (1, 3), (1, 4), (2, 1)]


def test_vines_that_lack_a_side_are_counted(picked):
    picked.lose(7)
    assert picked.read()["counts"] == {"places": 8, "missing_vines": 1, "with_both": 3, "without_prunings": 1,
                                       "without_yield": 1, "with_neither": 2}  # fmt: skip


def test_the_paired_vines_are_sum_over_sum(picked):
    found = picked.read()["paired_vines"]
    assert (found["yield_kg"], found["pruning_weight_kg"], found["vines"]) == (21, pytest.approx(2.1), 3)
    assert (found["value"], found["verdict"]) == (10, "within")


def test_the_whole_block_is_its_harvest_over_the_mean_prunings_times_the_vines_that_stand(picked):
    picked.lose(7)
    picked.pick(scope="block", kg=50, picking=1)
    picked.pick(scope="block", kg=13, picking=2)
    body = picked.read()
    found = body["whole_block"]
    assert (found["yield_kg"], found["vines"]) == (63, 7)
    assert found["pruning_weight_kg"] == pytest.approx(7 * 0.75)
    assert (found["value"], found["verdict"]) == (12, "within")
    assert found["range"]["code"] == "concord-lake-erie-crop-load"
    assert found["range"]["applies_to"] == "Concord, juice, Lake Erie"  # by its name, not by its code
    assert 0 < found["low"] < 12 < found["high"]
    assert "63 kg ÷ 5.25 kg = 12" in [step["calculation"] for step in body["steps"]]


def test_a_block_whose_every_vine_was_weighed_has_an_interval_without_width(ground):
    for vine in range(8):
        ground.weigh(vine, 0.5 + vine / 10)
    ground.pick(scope="block", kg=68)
    found = ground.read()["whole_block"]
    assert (found["value"], found["low"], found["high"]) == (10, 10, 10)


def test_samples_give_the_yield_of_a_mean_vine_picking_by_picking(ground):
    for vine in range(4):
        ground.weigh(vine, 1.0)
    ground.pick(scope="sample", kg=60, vines_picked=10, picking=1)
    ground.pick(scope="sample", kg=40, vines_picked=10, picking=1)
    ground.pick(scope="sample", kg=30, vines_picked=6, picking=2)
    assert ground.read()["samples"]["value"] == 10


def test_prunings_of_the_winter_before_the_harvest_are_never_taken(ground):
    """trade.md section 13, row 13."""
    ground.weigh(0, 1.0, season=2026)
    ground.pick(0, 12.0)
    ground.pick(scope="block", kg=63)
    body = ground.read()
    assert body["results"][0]["status"] == "prunings_not_weighed"
    assert (body["season"], body["pruning_season"]) == (2026, 2027)
    assert "season 2027" in body["whole_block"]["reason"]
    ground.weigh(0, 1.5)
    assert ground.read()["results"][0]["crop_load"] == 8


def test_a_picking_that_was_not_weighed_leaves_no_sum(picked):
    picked.pick(0, None, picking=2)
    picked.pick(scope="block", kg=50, picking=1)
    picked.pick(scope="block", kg=None, picking=2)
    body = picked.read()
    assert body["results"][0]["status"] == "yield_not_weighed"
    assert "picking of the whole block was not weighed" in body["whole_block"]["reason"]


def test_what_was_withdrawn_does_not_count(picked):
    made = picked.pick(6, 10.0)
    assert len(picked.read()["results"]) == 6
    deleted = picked.cast.worker.client.delete(f"{picked.url}/harvest-records/{made['id']}", headers={"If-Match": "*"})
    assert (deleted.status_code, len(picked.read()["results"])) == (200, 5)


def test_prunings_of_nothing_give_no_number_and_say_so(ground):
    ground.pick(0, 12.0)
    ground.pick(scope="block", kg=63)
    ground.weigh(0, 0)
    body = ground.read()
    assert body["results"][0]["status"] == "no_prunings"
    assert "divided by zero" in body["whole_block"]["reason"]
    assert (body["whole_block"]["value"], body["whole_block"]["verdict"]) == (None, None)


def test_without_a_season_the_newest_harvest_answers_and_without_any_there_is_none(ground):
    assert (ground.read("")["season"], ground.read("")["results"]) == (None, [])
    assert "No harvest of the whole block is recorded" in ground.read("")["whole_block"]["reason"]
    ground.pick(0, 12.0, season=2025)
    ground.pick(0, 12.0, season=2026)
    assert ground.read("")["season"] == 2026


def test_one_row_can_be_asked_for_and_the_block_stays_the_block(picked):
    picked.pick(scope="block", kg=60)
    whole, row = picked.read(), picked.read("season=2026&row_number=2")
    assert [each["row_number"] for each in row["results"]] == [2]
    assert (row["counts"]["places"], row["whole_block"]) == (4, whole["whole_block"])


def test_a_heavy_unripe_crop_is_flagged_and_a_ripe_one_is_not(picked):
    """trade.md section 13, row 19."""
    picked.pick(scope="block", kg=130, picking=1, soluble_solids={"value": 14.5, "unit": "{Brix}"})
    body = picked.read()
    assert (body["whole_block"]["verdict"], body["soluble_solids"]["verdict"]) == ("above", "below")
    assert [flag["code"] for flag in body["flags"]] == ["heavy_crop_low_soluble_solids"]


def test_soluble_solids_of_pickings_count_by_their_yields(picked):
    for number, (kg, brix) in enumerate(((30, 17), (10, 13)), start=1):
        picked.pick(scope="block", kg=kg, picking=number, soluble_solids={"value": brix, "unit": "{Brix}"})
    body = picked.read()
    assert (body["soluble_solids"]["value"], body["flags"]) == (16, [])


def test_without_an_assigned_range_there_is_no_verdict_anywhere(picked):
    changed = picked.cast.owner.client.patch(f"{picked.url}/blocks/{picked.block.pk}", {"use": ""}, format="json",
                                             headers={"If-Match": "*"})  # fmt: skip
    assert changed.status_code == 200
    picked.pick(scope="block", kg=130)
    body = picked.read()
    assert {each["verdict"] for each in body["results"]} == {None}
    assert [body[basis]["verdict"] for basis in ("whole_block", "samples", "paired_vines")] == [None] * 3
    assert any("without a verdict" in caution for caution in body["cautions"])


@pytest.mark.parametrize(("for_block", "level"), [(True, "block"), (False, "farm")])
def test_a_range_that_the_farm_chose_comes_before_the_catalogues(picked, for_block, level):
    chosen = BalanceRange.objects.get(code="concord-steady-crop-load")
    RangeChoice.objects.create(farm=picked.cast.farm, block=picked.block if for_block else None, measure=chosen.measure,
                               range=chosen)  # fmt: skip
    picked.pick(scope="block", kg=8 * 0.75 * 18)
    found = picked.read()["whole_block"]
    assert (found["value"], found["verdict"]) == (18, "above")
    assert (found["range"]["code"], found["range"]["level"]) == ("concord-steady-crop-load", level)


def test_pounds_and_kilograms_of_one_harvest_are_one_answer(cast):
    answers = []
    for unit, factor in (("kg", 1), ("[lb_av]", 1 / 0.45359237)):
        enter(cast.owner.caller)
        opened = open_farm(cast.owner.caller, cast.farm.pk)
        block = create_block(
            opened, None, {"name": unit, "cultivar": Cultivar.objects.get(code="concord"), "use": "juice"}
        ).row
        plant_row(opened, create_row(opened, block, None, 1).row, 2)
        vines = Vine.objects.for_farm(cast.farm).filter(block=block).order_by("place")
        url = f"/api/v1/farms/{cast.farm.pk}"
        for vine, (crop, wood) in zip(vines, ((10.0, 1.0), (20.0, 1.0)), strict=True):
            crop_sent, wood_sent = ({"value": round(each * factor, 10), "unit": unit} for each in (crop, wood))
            cast.worker.client.post(f"{url}/harvest-records", {"vine": str(vine.pk), "scope": "vine", "yield": crop_sent,
                                    "observed_at": "2026-09-28T11:00:00-04:00"}, format="json")  # fmt: skip
            cast.worker.client.post(f"{url}/dormant-records", {"vine": str(vine.pk), "pruning_weight": wood_sent,
                                    "observed_at": "2027-01-16T10:02:00-05:00"}, format="json")  # fmt: skip
        body = cast.viewer.client.get(f"{url}/blocks/{block.pk}/crop-load?season=2026").json()
        answers.append([(each["crop_load"], each["verdict"]) for each in body["results"]])
    assert answers[0] == answers[1] == [(10, "within"), (20, "within")]


@pytest.mark.parametrize(
    "query", ["season=x", "season=1", "season=2101", "row_number=0", "seasons=2026", "season=2026&season=2027"]
)
def test_a_query_that_cannot_be_is_refused(query, ground):
    assert ground.read(query, status=400)["status"] == 400


def test_a_block_with_more_vines_than_are_answered_at_once_says_so(picked, monkeypatch):
    monkeypatch.setattr("balance.walking.MOST_VINES", 7)
    assert "Ask by row" in picked.read(status=422)["detail"]


def test_a_block_of_any_size_takes_the_same_number_of_queries(picked, django_assert_max_num_queries):
    picked.pick(scope="block", kg=60)
    with django_assert_max_num_queries(28):
        picked.read()
