"""Ranges of one's own and which range a farm chose: what a figure is held against, and nobody else's business."""

from __future__ import annotations

import uuid
from decimal import Decimal
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from balance.ranges import range_for
from records.access import enter, open_farm
from records.models import BalanceRange, Measure, RangeChoice, RecordChange
from records.models.ranges import UNIT_OF
from records.services.own_ranges import range_columns, units_of
from records.services.vineyards import block_of, create_block
from tests.conftest import leave_farms

pytestmark = pytest.mark.django_db

NEW: dict[str, Any] = {
    "code": "own-crop-load",
    "label": "crop load that we aim at (invented)",
    "measure": "yield_to_pruning_weight",
    "low": 10,
    "high": 15,
    "unit": "1",
    "source": "our adviser (invented)",
}


@pytest.fixture
def farm(cast: Any) -> str:
    return f"/api/v1/farms/{cast.farm.pk}"


@pytest.fixture
def block(cast: Any) -> uuid.UUID:
    enter(cast.owner.caller)
    made = create_block(open_farm(cast.owner.caller, cast.farm.pk), None, {"name": "Upper Terrace"}).row
    leave_farms()
    return uuid.UUID(str(made.pk))


def add(player: Any, place: str, **more: Any) -> Any:
    sent = {name: value for name, value in {**NEW, **more}.items() if value is not ...}
    return player.client.post(f"{place}/ranges", sent, format="json")


def choose(player: Any, farm: str, **more: Any) -> Any:
    sent = {"measure": NEW["measure"], "range": NEW["code"], **more}
    return player.client.post(f"{farm}/range-choices", sent, format="json")


def codes(player: Any, place: str, query: str = "") -> list[str]:
    rows = player.client.get(f"{place}/ranges?limit=500{query}").json()["results"]
    return [f"{row['code']}@{row['range_version']}" for row in rows]


def test_what_is_added_is_shown_at_its_address_and_known_again_for_ever(cast, farm):
    first = add(cast.owner, farm, cultivar="concord", use="juice")
    assert first.status_code == 201, first.json()
    assert cast.viewer.client.get(first.headers["Location"]).json() == first.json()
    assert (first.json()["owner"], first.json()["source_mark"], first.json()["unit"]) == ("farm", "farm", "1")
    second = add(cast.owner, farm, cultivar="concord", use="juice", high=16)
    late = add(cast.owner, farm, cultivar="concord", use="juice", low="10.0")
    assert (second.json()["range_version"], late.status_code, late.json()) == (2, 200, first.json())


def test_a_farm_is_shown_what_is_shared_its_programs_and_its_own(cast, farm):
    add(cast.owner, farm)
    add(cast.lead, f"/api/v1/programs/{cast.program.pk}", code="program-crop-load")
    add(cast.stranger, f"/api/v1/farms/{cast.other_farm.pk}", code="own-of-another")
    shared = [
        f"{row['code']}@{row['range_version']}" for row in cast.nobody.get("/api/v1/ranges?limit=500").json()["results"]
    ]
    assert codes(cast.viewer, farm, "&owner=shared") == shared
    assert codes(cast.viewer, farm, "&owner=farm") == ["own-crop-load@1"]
    assert codes(cast.viewer, farm, "&owner=program") == ["program-crop-load@1"]
    assert sorted(codes(cast.viewer, farm)) == sorted([*shared, "own-crop-load@1", "program-crop-load@1"])
    assert codes(cast.viewer, farm, "&measure=mean_cane_weight&owner=farm") == []


def test_the_shared_list_is_narrowed_by_measure_and_group(cast):
    rows = {"source": "a test", "source_mark": "READ", "unit": "g", "measure": "mean_cane_weight", "low": 1}
    BalanceRange.objects.create(code="canes-of-a-test", group_id="vinifera", **rows)
    for query, shown in (("measure=mean_cane_weight&group=vinifera", True), ("measure=soluble_solids", False)):
        found = [row["code"] for row in cast.nobody.get(f"/api/v1/ranges?limit=500&{query}").json()["results"]]
        assert ("canes-of-a-test" in found) == shown
    assert cast.nobody.get("/api/v1/ranges?measure=no-measure").status_code == 400


@pytest.mark.parametrize(
    ("sent", "kept"),
    [({"low": 1, "high": 2, "unit": "oz"}, (28.34952, 56.69905)), ({"low": 0.02, "high": ..., "unit": "kg"}, (20, None)),
     ({"low": ..., "high": 60.5, "unit": "g"}, (None, 60.5))],
)  # fmt: skip
def test_a_range_of_cane_weights_may_be_sent_in_any_unit_of_mass_and_is_kept_in_grams(sent, kept, cast, farm):
    """1 oz is 28.349523125 g exactly (NIST SP 811, appendix B)."""
    shown = add(cast.owner, farm, measure="mean_cane_weight", **sent).json()
    assert (shown["low"], shown["high"], shown["unit"]) == (*kept, "g")


def test_soluble_solids_may_be_sent_as_grams_in_a_hundred(cast, farm):
    shown = add(cast.owner, farm, measure="soluble_solids", low=16, high=..., unit="g/(100.g)").json()
    assert (shown["low"], shown["high"], shown["unit"]) == (16, None, "{Brix}")


@pytest.mark.parametrize(
    ("more", "pointer"),
    [({"measure": "pruning_weight_per_canopy_metre", "unit": "[lb_av]/[ft_i]"}, "#/unit"),
     ({"measure": "pruning_weight_per_canopy_metre", "unit": "kg"}, "#/unit"),
     ({"measure": "mean_cane_weight", "unit": "m"}, "#/unit"),
     ({"measure": "mean_cane_weight", "unit": "ton"}, "#/unit"),
     ({"unit": "kg/kg"}, "#/unit"),
     ({"low": ..., "high": ...}, "#/low"),
     ({"low": None, "high": None}, "#/low"),
     ({"low": 15.00001}, "#/low"),
     ({"measure": "mean_cane_weight", "unit": "t", "low": 1, "high": 2}, "#/high"),
     ({"cultivar": "concord", "group": "american"}, "#/group")],
)  # fmt: skip
def test_a_range_that_is_none_is_refused_at_its_place_with_the_way_out(more, pointer, cast, farm):
    answer = add(cast.owner, farm, **more)
    assert (answer.status_code, answer.json()["errors"][0]["pointer"]) == (422, pointer), answer.json()
    assert codes(cast.owner, farm, "&owner=farm") == []


def test_a_quotient_that_the_service_does_not_convert_is_answered_with_the_unit_to_send(cast, farm):
    sent = {"measure": "pruning_weight_per_canopy_metre", "unit": "[lb_av]/[ft_i]", "low": 0.2, "high": 0.4}
    assert "'kg/m', not in '[lb_av]/[ft_i]'. Convert it first." in add(cast.owner, farm, **sent).json()["detail"]


@pytest.mark.parametrize(
    "more",
    [{"code": "crop-load"}, {"measure": "no-measure"}, {"low": -1}, {"low": 1_000_001}, {"high": "1e400"}, {"unit": ...},
     {"unit": "x" * 21}, {"use": "raisins"}, {"canopy": "both"}, {"source_mark": "READ"}, {"is_default": True},
     {"low": True}, {"range_version": 2}, {"source": ...}],
)  # fmt: skip
def test_what_is_not_as_published_is_refused(more, cast, farm):
    answer = add(cast.owner, farm, **more)
    assert answer.status_code == 400, answer.json()


@pytest.mark.parametrize("measure", Measure)
def test_every_measure_takes_its_own_unit(measure, cast, farm):
    answer = add(cast.owner, farm, measure=measure.value, unit=UNIT_OF[measure])
    assert (answer.status_code, answer.json()["unit"]) == (201, UNIT_OF[measure])


#: One of each unit [g], exactly (NIST SP 811, appendix B).
GRAMS = {
    "kg": Decimal(1000), "g": Decimal(1), "mg": Decimal("0.001"), "t": Decimal(10**6), "[lb_av]": Decimal("453.59237"),
    "[oz_av]": Decimal("28.349523125"), "[ston_av]": Decimal("907184.74"), "[lton_av]": Decimal("1016046.9088"),
}  # fmt: skip


def test_a_range_of_cane_weights_may_be_sent_in_every_unit_of_mass_that_the_service_knows():
    assert set(units_of(Measure.MEAN_CANE_WEIGHT)) == set(GRAMS)


@given(
    st.decimals(min_value=0, max_value=10, places=5),
    st.decimals(min_value=0, max_value=10, places=5),
    st.sampled_from(sorted(GRAMS)),
)
def test_limits_keep_their_order_in_whatever_unit_they_come(one, other, unit):
    """Rounding to five decimals of a gram moves no limit by more than half of the last one."""
    low, high = sorted((one, other))
    if unit in {"t", "[ston_av]", "[lton_av]"}:
        low, high = low / 1000, high / 1000
    told = {**NEW, "measure": "mean_cane_weight", "unit": unit, "low": low, "high": high}
    kept = range_columns(told)
    assert kept["low"] <= kept["high"]
    for side, sent in (("low", low), ("high", high)):
        assert abs(kept[side] - sent * GRAMS[unit]) <= (Decimal("0.000005") if unit != "g" else 0)


def test_a_figure_is_held_against_what_was_chosen_for_the_block_then_for_the_farm(cast, farm, block):
    def level() -> tuple[str, int] | None:
        enter(cast.viewer.caller)
        opened = open_farm(cast.viewer.caller, cast.farm.pk)
        found = range_for(opened, block_of(opened, block), NEW["measure"])
        leave_farms()
        return None if found is None else (found.level, found.range.range_version)

    add(cast.owner, farm)
    assert level() is None
    assert choose(cast.owner, farm).status_code == 201
    assert level() == ("farm", 1)
    add(cast.owner, farm, high=20)
    chosen = choose(cast.owner, farm, block=str(block))
    assert (chosen.json()["range"], level()) == ("own-crop-load@2", ("block", 2))
    removed = cast.owner.client.delete(chosen.headers["Location"], headers={"If-Match": chosen.headers["ETag"]})
    assert (removed.status_code, level()) == (204, ("farm", 1))


def test_the_same_choice_again_is_one_and_another_one_is_told_which_stands(cast, farm):
    add(cast.owner, farm)
    sent = {"id": str(uuid.uuid4())}
    first = choose(cast.owner, farm, **sent)
    assert [choose(cast.owner, farm, **sent).status_code, choose(cast.owner, farm).status_code] == [200, 200]
    add(cast.owner, farm, high=20)
    other = choose(cast.owner, farm)
    assert (other.status_code, other.json()["code"]) == (409, "already_recorded")
    assert "own-crop-load@1 was chosen already" in other.json()["detail"]
    assert other.json()["current"]["id"] == first.json()["id"]
    assert choose(cast.owner, farm, **sent).json()["code"] == "id_in_use"


def test_a_choice_is_removed_from_the_version_that_was_read_and_what_it_was_is_kept(cast, farm):
    add(cast.owner, farm)
    place = choose(cast.owner, farm).headers["Location"]
    ask = cast.owner.client.delete
    assert ask(place).status_code == 428
    assert ask(place, headers={"If-Match": '"2"'}).json()["code"] == "stale"
    assert [ask(place, headers={"If-Match": '"1"'}).status_code for _ in "ab"] == [204, 404]
    enter(cast.owner.caller)
    open_farm(cast.owner.caller, cast.farm.pk)
    assert RecordChange.objects.for_farm(cast.farm).filter(entity="range_choice").count() == 1


@pytest.mark.parametrize(
    ("more", "pointer"),
    [({"measure": "mean_cane_weight"}, "#/range"), ({"range": "own-of-another"}, "#/range"),
     ({"range": "own-crop-load@2"}, "#/range"), ({"block": str(uuid.uuid4())}, "#/block")],
)  # fmt: skip
def test_a_choice_that_names_what_is_not_the_farms_is_refused_at_its_place(more, pointer, cast, farm):
    add(cast.owner, farm)
    add(cast.stranger, f"/api/v1/farms/{cast.other_farm.pk}", code="own-of-another")
    answer = choose(cast.owner, farm, **more)
    assert (answer.status_code, answer.json()["errors"][0]["pointer"]) == (422, pointer), answer.json()
    enter(cast.owner.caller)
    open_farm(cast.owner.caller, cast.farm.pk)
    assert not RangeChoice.objects.for_farm(cast.farm).exists()


def test_a_shared_range_and_a_programs_may_be_chosen_too(cast, farm):
    rows = {"source": "a test", "source_mark": "READ", "unit": "g", "measure": "mean_cane_weight", "low": 1}
    BalanceRange.objects.create(code="canes-of-a-test", **rows)
    add(cast.lead, f"/api/v1/programs/{cast.program.pk}", code="program-crop-load")
    shared = choose(cast.owner, farm, measure="mean_cane_weight", range="canes-of-a-test@1")
    programs = choose(cast.owner, farm, range="program-crop-load")
    assert [answer.status_code for answer in (shared, programs)] == [201, 201]
