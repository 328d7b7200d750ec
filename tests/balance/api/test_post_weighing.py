"""Post a weighing, get the target: the call that a field app makes most."""

from __future__ import annotations

import uuid
from decimal import Decimal
from typing import Any

import pytest

from balance.models import PruningTarget
from records.access import enter, open_farm
from records.models import DormantRecord, PruningFormula, RecordChange, Vine
from records.services.vineyards import create_block, create_row, plant_row

pytestmark = pytest.mark.django_db


@pytest.fixture
def winter(cast):
    """A block of Concord with three vines, and a way to post about them."""
    enter(cast.owner.caller)
    opened = open_farm(cast.owner.caller, cast.farm.pk)
    from records.models import Cultivar

    columns = {"name": "Lower Terrace", "cultivar": Cultivar.objects.get(code="concord")}
    cast.block = create_block(opened, None, columns).row
    plant_row(opened, create_row(opened, cast.block, None, 1).row, 3)
    cast.vines = list(Vine.objects.for_farm(cast.farm).order_by("place"))
    cast.url = f"/api/v1/farms/{cast.farm.pk}"
    return cast


def weighing(winter: Any, **members: Any) -> dict[str, Any]:
    return {
        "vine": str(winter.vines[0].pk),
        "observed_at": "2027-01-16T10:02:00-05:00",
        "pruning_weight": {"value": 2.8, "unit": "lb"},
        "scale_resolution": {"value": 0.25, "unit": "lb"},
        **members,
    }


def post(winter: Any, **members: Any) -> Any:
    return winter.worker.client.post(f"{winter.url}/dormant-records", weighing(winter, **members), format="json")


def count(winter: Any, record: dict[str, Any], nodes: int, version: int = 1) -> Any:
    url = f"{winter.url}/dormant-records/{record['id']}"
    return winter.worker.client.patch(
        url, {"nodes_retained": nodes}, format="json", headers={"If-Match": f'"{version}"'}
    )


def test_the_answer_carries_the_number_and_all_that_led_to_it(winter):
    answer = post(winter)
    target = answer.json()["target"]
    assert answer.status_code == 201
    assert (target["nodes"], target["nodes_unrounded"], target["level"], target["status"]) == (48, 48.0, "group", "ok")
    assert (target["formula"]["code"], target["formula"]["formula_version"]) == ("american-30-10-lb", 1)
    assert "Ohio State" in target["formula"]["source"]
    assert [step["calculation"] for step in target["steps"]] == [
        "30",
        "1.8 × 10 = 18",
        "30 + 18 = 48",
        "0.25 × 10 = 2.5",
    ]
    assert target["scale"] == {"nodes_unrounded": 2.5, "nodes": 3}
    assert "extension" in target["cautions"][0]


def test_the_record_keeps_the_weight_as_sent_beside_the_exact_kilograms(winter):
    record = post(winter, guessed_weight={"value": 1.2, "unit": "kg"}, pruner="TR", rough_prune_margin_nodes=15).json()
    assert record["pruning_weight"] == {"value": 2.8, "unit": "[lb_av]", "kg": 1.270058636}
    stored = DormantRecord.objects.for_farm(winter.farm).get()
    assert stored.pruning_weight_kg == Decimal("1.270058636")
    assert (stored.app_name, stored.recorded_by_id, stored.observed_offset_minutes) == (
        "test app",
        winter.worker.person.pk,
        -300,
    )
    assert (record["season"], record["observed_at"]) == (2027, "2027-01-16T15:02:00Z")


def test_the_same_weight_in_kilograms_gets_the_same_advice(winter):
    pounds = post(winter).json()["target"]
    kilograms = post(winter, vine=str(winter.vines[1].pk), pruning_weight={"value": "1.270059", "unit": "kg"}).json()[
        "target"
    ]
    assert kilograms["nodes"] == pounds["nodes"]
    assert "1.2701 kg is 2.8 lb" in kilograms["steps"][0]["sentence"]


def test_below_one_unit_there_is_a_reason_and_no_number(winter):
    target = post(winter, pruning_weight={"value": 0.75, "unit": "lb"}).json()["target"]
    assert (target["status"], target["nodes"], target["nodes_unrounded"], target["steps"]) == (
        "below_formula_range",
        None,
        None,
        [],
    )
    assert "Below one unit of weight (1 lb) no source prints a formula" in target["reason"]


def test_a_vine_that_was_not_weighed_gets_a_reason_and_no_number(winter):
    target = post(winter, pruning_weight=None).json()["target"]
    assert (target["status"], target["nodes"]) == ("not_weighed", None)


def test_a_vine_for_which_no_formula_answers_is_told_what_to_do(winter):
    winter.owner.client.patch(
        f"{winter.url}/blocks/{winter.block.pk}", {"cultivar": None}, format="json", headers={"If-Match": "*"}
    )
    target = post(winter).json()["target"]
    assert (target["status"], target["formula"], target["level"]) == ("no_formula", None, None)
    assert "Set pruning_formula on the block or the farm" in target["reason"]


@pytest.mark.parametrize("level", ["farm", "block", "vine"])
def test_the_nearest_level_that_names_a_formula_answers(level, winter):
    """vine before block before farm before cultivar before group."""
    addresses = {
        "farm": winter.url,
        "block": f"{winter.url}/blocks/{winter.block.pk}",
        "vine": f"{winter.url}/vines/{winter.vines[0].pk}",
    }
    codes = {"farm": "concord-50-10-lb", "block": "concord-60-10-lb", "vine": "concord-33-11-500g"}
    for name in list(addresses)[: list(addresses).index(level) + 1]:
        changed = winter.owner.client.patch(
            addresses[name], {"pruning_formula": codes[name]}, format="json", headers={"If-Match": "*"}
        )
        assert changed.status_code == 200
    target = post(winter).json()["target"]
    assert (target["level"], target["formula"]["code"]) == (level, codes[level])


def test_a_cap_that_the_farm_sets_is_shown_with_the_uncapped_number(winter):
    winter.owner.client.patch(
        f"{winter.url}/blocks/{winter.block.pk}", {"maximum_nodes": 45}, format="json", headers={"If-Match": "*"}
    )
    target = post(winter).json()["target"]
    assert (target["nodes"], target["nodes_uncapped"]) == (45, 48)


def test_ten_too_few_is_called_ten_too_few_and_the_slip_is_named(winter):
    verdict = count(winter, post(winter).json(), 38).json()["verdict"]
    assert (verdict["outcome"], verdict["difference"], verdict["tolerance"]) == ("too_few", -10, 3)
    assert [slip["code"] for slip in verdict["slips"]] == ["one_further_unit_left_out"]


def test_a_count_within_what_the_scale_is_worth_is_on_target(winter):
    verdict = count(winter, post(winter).json(), 51).json()["verdict"]
    assert (verdict["outcome"], verdict["slips"]) == ("within_tolerance", [])


def test_the_version_before_the_count_stays_readable_with_who_and_why(winter):
    record = post(winter).json()
    url = f"{winter.url}/dormant-records/{record['id']}"
    body = {"pruning_weight": {"value": 2.5, "unit": "lb"}, "reason": "the cord was weighed along"}
    changed = winter.owner.client.patch(url, body, format="json", headers={"If-Match": '"1"'})
    assert (changed.json()["version"], changed.json()["target"]["nodes"]) == (2, 45)
    kept = winter.viewer.client.get(f"{url}/versions").json()["results"]
    assert [(each["version"], each["reason"]) for each in kept] == [(1, "the cord was weighed along")]
    assert kept[0]["record"]["pruning_weight_value"] == 2.8


def test_a_change_that_says_what_stands_there_makes_no_version(winter):
    record = post(winter).json()
    assert count(winter, record, 48).json()["version"] == 2
    assert count(winter, record, 48, version=2).json()["version"] == 2
    assert RecordChange.objects.for_farm(winter.farm).filter(entity="dormant_record").count() == 1


def test_sent_again_with_its_id_nothing_new_is_stored_whatever_happened_since(winter):
    record_id = str(uuid.uuid4())
    first = post(winter, id=record_id)
    count(winter, first.json(), 48)
    again = post(
        winter, id=record_id, pruning_weight={"value": "2.80", "unit": "[lb_av]"}, observed_at="2027-01-16T15:02:00Z"
    )
    assert (first.status_code, again.status_code) == (201, 200)
    assert (again.json()["nodes_retained"], again.json()["version"]) == (48, 2)
    assert DormantRecord.objects.for_farm(winter.farm).count() == 1


def test_the_id_with_other_content_is_409_and_shows_what_stands_there(winter):
    record_id = str(uuid.uuid4())
    post(winter, id=record_id)
    clash = post(winter, id=record_id, pruning_weight={"value": 3, "unit": "lb"})
    assert (clash.status_code, clash.json()["code"]) == (409, "id_in_use")
    assert clash.json()["current"]["pruning_weight"]["value"] == 2.8


def test_a_second_record_for_the_vine_and_season_is_409_and_names_the_first(winter):
    first = post(winter).json()
    second = post(winter, pruning_weight={"value": 3, "unit": "lb"})
    assert (second.status_code, second.json()["code"]) == (409, "already_recorded")
    assert second.json()["current"]["id"] == first["id"]


def test_a_stale_change_is_412_with_the_record_as_it_stands(winter):
    record = post(winter).json()
    count(winter, record, 48)
    stale = count(winter, record, 40)
    assert (stale.status_code, stale.json()["code"], stale.headers["ETag"]) == (412, "stale", '"2"')
    assert stale.json()["current"]["nodes_retained"] == 48


def test_a_date_outside_the_dormant_months_asks_for_the_season(winter):
    summer = post(winter, observed_at="2027-08-01T10:00:00-04:00")
    assert (summer.status_code, summer.json()["errors"][0]["pointer"]) == (422, "#/season")
    assert post(winter, observed_at="2027-08-01T10:00:00-04:00", season=2027).status_code == 201


def test_what_was_told_is_kept_with_the_formula_that_told_it(winter):
    record = post(winter).json()
    kept = PruningTarget.objects.for_farm(winter.farm).get()
    formula = PruningFormula.objects.get(code="american-30-10-lb")
    assert (kept.nodes, kept.formula_id, kept.record_version, str(kept.dormant_record_id)) == (
        48,
        formula.pk,
        1,
        record["id"],
    )


def test_reading_a_record_again_tells_the_same_and_keeps_no_second_copy(winter):
    record = post(winter).json()
    again = winter.viewer.client.get(f"{winter.url}/dormant-records/{record['id']}").json()
    assert again == record
    assert PruningTarget.objects.for_farm(winter.farm).count() == 1


def test_a_posted_weighing_takes_a_bounded_number_of_queries(winter, django_assert_max_num_queries):
    with django_assert_max_num_queries(22):
        assert post(winter).status_code == 201
