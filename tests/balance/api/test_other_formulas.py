"""Nodes by the unit, fixed numbers, bounds, young vines and what the vine's place says: the rest of the targets."""

from __future__ import annotations

from typing import Any

import pytest

from balance.models import PruningTarget
from records.kinds.definitions import CORDON_INSPECTION, VINE_EVENT
from records.models import Block
from tests.records.yard import Yard

pytestmark = pytest.mark.django_db


def ask(cast: Any, **members: Any) -> dict[str, Any]:
    body = {"pruning_weight": {"value": 2, "unit": "lb"}, **members}
    answer = cast.nobody.post("/api/v1/balance/targets", body, format="json")
    assert answer.status_code == 200, answer.json()
    target: dict[str, Any] = answer.json()["target"]
    return target


def test_nodes_by_the_unit_are_explained_as_such(cast):
    target = ask(cast, formula="chambourcin-15-per-lb")
    assert (target["nodes"], target["formula"]["kind"]) == (30, "per_unit")
    assert [step["calculation"] for step in target["steps"]] == ["2 × 15 = 30"]


@pytest.mark.parametrize(
    ("pounds", "status", "nodes"),
    [(1.4, "below_formula_range", None), (2, "ok", 100), (2.6, "above_formula_range", None)],
)
def test_a_fixed_number_holds_for_the_vines_that_its_source_names(pounds, status, nodes, cast):
    target = ask(cast, formula="concord-fixed-100", pruning_weight={"value": pounds, "unit": "lb"})
    assert (target["status"], target["nodes"]) == (status, nodes)
    assert (target["reason"] is None) == (nodes is not None)
    assert (target["valid_from_units"], target["valid_to_units"]) == (1.5, 2.5)


def test_a_fixed_number_without_limits_is_the_same_at_any_weight(cast):
    told = [ask(cast, formula="concord-fixed-120", pruning_weight={"value": kg, "unit": "kg"}) for kg in (0.2, 3)]
    assert [target["nodes"] for target in told] == [120, 120]
    assert told[0]["valid_from_units"] is None


def test_a_count_against_a_fixed_number_is_judged_without_slips(cast):
    body = {"pruning_weight": {"value": 2, "unit": "lb"}, "formula": "concord-fixed-120", "nodes_retained": 90}
    verdict = cast.nobody.post("/api/v1/balance/targets", body, format="json").json()["verdict"]
    assert (verdict["outcome"], verdict["difference"], verdict["slips"]) == ("too_few", -30, [])


def test_the_fewest_nodes_and_the_cap_are_the_callers_and_the_number_without_them_stays(cast):
    assert ask(cast, cultivar="concord", minimum_nodes=44)["nodes"] == 44
    capped = ask(cast, cultivar="concord", maximum_nodes=35)
    assert (capped["nodes"], capped["nodes_uncapped"]) == (35, 40)


def test_fewest_above_the_cap_is_refused_and_named(cast):
    body = {
        "pruning_weight": {"value": 2, "unit": "lb"},
        "cultivar": "concord",
        "minimum_nodes": 50,
        "maximum_nodes": 40,
    }
    answer = cast.nobody.post("/api/v1/balance/targets", body, format="json")
    assert (answer.status_code, answer.json()["errors"][0]["pointer"]) == (422, "#/minimum_nodes")


@pytest.mark.parametrize(("grown", "status"), [(0, "young_vine"), (2, "young_vine"), (3, "ok")])
def test_a_vine_in_training_gets_no_number_and_is_told_what_to_do(grown, status, cast):
    """Missouri State Univ., 28 Jan 2013 (READ*): about three years of training, fruit removed until then."""
    target = ask(cast, cultivar="concord", seasons_grown=grown)
    assert target["status"] == status
    assert ("training comes first" in (target["reason"] or "")) == (status == "young_vine")


def test_a_target_beyond_the_spur_positions_is_a_warning_and_stays_as_it_is(cast):
    """cooksplace.us, 2013 (READ*): 20+20 at 2 lb asks 40 nodes; the cordon had 6 to 7 places a side."""
    target = ask(cast, formula="new-hybrid-20-20-lb", living_positions=13)
    assert (target["nodes"], target["checks"][0]["warning"]) == (40, True)
    assert "Nothing was cut" in target["checks"][0]["sentence"]


@pytest.mark.parametrize(("feet", "warning"), [(8, False), (6, True), (12, True)])
def test_nodes_are_held_against_the_length_of_canopy(feet, warning, cast):
    """Ohio State Univ., 2023 Grape Pruning Primer (READ): 4 to 6 buds a foot; 40 nodes on 6, 8 and 12 ft."""
    target = ask(cast, cultivar="concord", canopy_length={"value": feet, "unit": "[ft_i]"})
    assert (target["nodes"], [check["warning"] for check in target["checks"]]) == (40, [warning])


def test_renewal_spurs_are_inside_the_target_and_every_answer_says_so(cast):
    """gardenguides.com/100670 (READ*): 40 less four renewal spurs of 2 leaves 32 for the canes."""
    assert "renewal spurs are inside" in ask(cast, cultivar="concord")["what_counts"]


@pytest.fixture
def yard(cast):
    yard = Yard(cast)
    Block.objects.for_farm(cast.farm).filter(pk=yard.block.pk).update(cultivar="concord")
    return yard


def weigh(yard: Any, number: int = 0) -> dict[str, Any]:
    vine = yard.vines[number]
    weight = {"value": 2.8, "unit": "lb"}
    body = {"vine": str(vine.pk), "observed_at": "2027-01-16T10:02:00-05:00", "pruning_weight": weight}
    answer = yard.client.post(f"{yard.url}/dormant-records", body, format="json")
    assert answer.status_code == 201, answer.json()
    target: dict[str, Any] = answer.json()["target"]
    return target


def block_statuses(yard: Any) -> list[str]:
    results = yard.client.get(f"{yard.url}/blocks/{yard.block.pk}/targets?season=2027").json()["results"]
    return [vine["status"] for vine in results]


def test_the_year_that_a_block_was_planted_makes_its_vines_young(yard):
    Block.objects.filter(pk=yard.block.pk, farm_id=yard.block.farm_id).update(year_planted=2025)
    assert weigh(yard)["status"] == "young_vine"
    assert block_statuses(yard)[0] == "young_vine"


def test_a_vine_that_was_replanted_is_young_again_and_its_neighbours_are_not(yard):
    Block.objects.filter(pk=yard.block.pk, farm_id=yard.block.farm_id).update(year_planted=2009)
    event = yard.new(VINE_EVENT, event="replanted", observed_at="2025-05-02T09:00:00-04:00", happened_on="2025-05-01")
    assert yard.post(VINE_EVENT, event).status_code == 201
    assert (weigh(yard)["status"], weigh(yard, 1)["status"]) == ("young_vine", "ok")
    assert block_statuses(yard)[:2] == ["young_vine", "ok"]


def test_spur_positions_are_those_of_each_cordons_newest_inspection(yard):
    for cordon, living, when in (("left", 20, "2026-01-10"), ("left", 6, "2027-01-10"), ("right", 7, "2027-01-10")):
        inspection = {"id": ..., "blank_positions": ..., "cordon": cordon, "living_positions": living}
        body = yard.new(CORDON_INSPECTION, **inspection, observed_at=f"{when}T09:00:00-05:00")
        answer = yard.post(CORDON_INSPECTION, body)
        assert answer.status_code == 201, answer.json()
    check = weigh(yard)["checks"][0]
    assert (check["code"], check["high"], check["warning"]) == ("spur_positions", 39, True)


def test_a_cap_that_comes_later_tells_another_target_and_keeps_the_first(yard):
    weigh(yard)
    Block.objects.filter(pk=yard.block.pk, farm_id=yard.block.farm_id).update(maximum_nodes=40)
    record = yard.client.get(f"{yard.url}/dormant-records").json()["results"][0]
    assert yard.client.get(f"{yard.url}/dormant-records/{record['id']}").json()["target"]["nodes"] == 40
    told = PruningTarget.objects.for_farm(yard.block.farm_id).order_by("received_at", "id")
    assert sorted(told.values_list("nodes", flat=True)) == [40, 48]
