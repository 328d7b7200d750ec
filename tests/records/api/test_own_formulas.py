"""Formulas of one's own: each version stays, an owner's are nobody else's, and whoever may use one may name it."""

from __future__ import annotations

import uuid
from concurrent.futures import ThreadPoolExecutor
from itertools import chain
from typing import Any

import pytest
from django.db import connection, transaction
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from rest_framework.test import APIClient

from records.access import enter, open_farm
from records.services import own_catalogue
from records.services.keys import make_key
from records.services.vineyards import create_block, create_row, create_vine
from tests.conftest import leave_farms

pytestmark = pytest.mark.django_db

NEW: dict[str, Any] = {
    "code": "own-upper-terrace",
    "label": "33+11 per 500 g",
    "kind": "first_and_further",
    "first_nodes": 33,
    "further_nodes": 11,
    "weight_unit": {"value": 500, "unit": "g"},
    "source": "our own trial (invented)",
}
PROGRAMS = {**NEW, "code": "program-harrow-vale"}


@pytest.fixture
def farm(cast: Any) -> str:
    return f"/api/v1/farms/{cast.farm.pk}"


@pytest.fixture
def program(cast: Any) -> str:
    return f"/api/v1/programs/{cast.program.pk}"


def add(player: Any, place: str, told: dict[str, Any] = NEW, **more: Any) -> Any:
    sent = {name: value for name, value in {**told, **more}.items() if value is not ...}
    return player.client.post(f"{place}/formulas", sent, format="json")


def codes(player: Any, place: str, query: str = "") -> list[str]:
    answer = player.client.get(f"{place}/formulas?limit=500{query}")
    assert answer.status_code == 200, answer.json()
    return [f"{row['code']}@{row['formula_version']}" for row in answer.json()["results"]]


def test_what_is_added_is_shown_at_its_address_with_whose_it_is_and_the_mark_of_its_source(cast, farm):
    answer = add(cast.owner, farm, maximum_nodes=90, note="For vines\non own roots.")
    assert answer.status_code == 201, answer.json()
    shown = answer.json()
    assert {name: shown[name] for name in ("code", "formula_version", "kind", "first_nodes", "further_nodes")} == {
        **{name: NEW[name] for name in ("code", "kind", "first_nodes", "further_nodes")},
        "formula_version": 1,
    }
    assert shown["weight_unit"] == {"value": 500, "unit": "g", "kg": 0.5}
    assert (shown["owner"], shown["source_mark"], shown["is_default"]) == ("farm", "farm", False)
    assert cast.viewer.client.get(answer.headers["Location"]).json() == shown


def test_the_same_content_is_the_same_version_for_ever_and_another_content_the_next(cast, farm):
    first = add(cast.owner, farm)
    assert add(cast.owner, farm).status_code == 200
    second = add(cast.owner, farm, further_nodes=12)
    late = add(cast.owner, farm, first_nodes=33.0, further_nodes="11.00", note="")
    assert (second.status_code, second.json()["formula_version"]) == (201, 2)
    assert (late.status_code, late.json()) == (200, first.json())
    assert codes(cast.owner, farm, "&owner=farm") == ["own-upper-terrace@1", "own-upper-terrace@2"]


def test_a_version_of_a_long_unit_is_known_again_although_its_kilograms_are_rounded(cast, farm):
    unit = {"value": 17.637, "unit": "oz"}
    assert [add(cast.owner, farm, weight_unit=unit).status_code for _ in range(2)] == [201, 200]


def test_two_farms_use_one_code_without_learning_of_each_other(cast, farm):
    other = f"/api/v1/farms/{cast.other_farm.pk}"
    assert add(cast.stranger, other, label="theirs").status_code == 201
    assert add(cast.owner, farm).json()["formula_version"] == 1
    assert cast.owner.client.get(f"{farm}/formulas/own-upper-terrace@1").json()["label"] == NEW["label"]
    assert codes(cast.stranger, other, "&owner=farm") == ["own-upper-terrace@1"]


def test_a_farm_is_shown_what_is_shared_its_programs_and_its_own_and_each_by_itself(cast, farm, program):
    add(cast.owner, farm)
    add(cast.lead, program, PROGRAMS)
    add(cast.stranger, f"/api/v1/farms/{cast.other_farm.pk}", code="own-of-another")
    by_owner = {owner: codes(cast.worker, farm, f"&owner={owner}") for owner in ("shared", "program", "farm")}
    assert by_owner["program"] == ["program-harrow-vale@1"]
    assert by_owner["farm"] == ["own-upper-terrace@1"]
    assert "american-30-10-lb@1" in by_owner["shared"]
    assert sorted(codes(cast.worker, farm)) == sorted(chain(*by_owner.values()))
    shared = cast.nobody.get("/api/v1/formulas?limit=500").json()["results"]
    assert {f"{row['code']}@{row['formula_version']}" for row in shared} == set(by_owner["shared"])


def test_the_list_is_narrowed_by_cultivar_and_by_group(cast, farm):
    add(cast.owner, farm, cultivar="concord")
    assert "own-upper-terrace@1" in codes(cast.viewer, farm, "&cultivar=concord")
    assert codes(cast.viewer, farm, "&owner=farm&cultivar=reliance") == []
    assert codes(cast.viewer, farm, "&owner=farm&group=american") == []


def test_a_list_of_many_is_followed_page_by_page(cast, farm):
    for number in range(5):
        add(cast.owner, farm, further_nodes=number)
    seen, address = [], f"{farm}/formulas?owner=farm&limit=2"
    while address:
        page = cast.viewer.client.get(address).json()
        seen += [row["formula_version"] for row in page["results"]]
        address = page["next"]
    assert seen == [1, 2, 3, 4, 5]


def test_a_programs_formula_is_for_its_leads_and_for_farms_that_take_part(cast, program):
    assert add(cast.lead, program, PROGRAMS).status_code == 201
    for player in (cast.lead, cast.owner, cast.worker, cast.viewer):
        assert codes(player, program) == ["program-harrow-vale@1"]
    assert cast.stranger.client.get(f"{program}/formulas").status_code == 404
    assert add(cast.owner, program, PROGRAMS).status_code == 403


def test_a_farm_that_only_let_the_program_in_may_not_use_what_is_for_its_own_farms(cast, program):
    add(cast.lead, program, PROGRAMS)
    consent = {"purpose": "summaries", "join_code": cast.program.join_code, "text_version": "summaries@1"}
    place = f"/api/v1/farms/{cast.other_farm.pk}"
    assert cast.stranger.client.post(f"{place}/consents", consent, format="json").status_code == 201
    assert cast.stranger.client.get(program).status_code == 200
    assert cast.stranger.client.get(f"{program}/formulas").status_code == 403
    assert codes(cast.stranger, place, "&owner=program") == []


def test_a_lead_who_has_a_farm_elsewhere_cannot_name_the_programs_formula_there(cast, program):
    """Row-level security shows it to the lead; the farm's other people could not even read it."""
    add(cast.lead, program, PROGRAMS)
    farm = {"name": "Lead's own (invented)", "hemisphere": "north", "time_zone": "Europe/Paris"}
    made = cast.lead.client.post("/api/v1/farms", farm, format="json").json()["id"]
    for place in (f"/api/v1/farms/{made}", "/api/v1/farms"):
        send = cast.lead.client.patch if place.endswith(made) else cast.lead.client.post
        body = {"pruning_formula": PROGRAMS["code"], **({} if place.endswith(made) else farm)}
        answer = send(place, body, format="json", headers={"If-Match": "*"})
        assert (answer.status_code, answer.json()["errors"][0]["pointer"]) == (422, "#/pruning_formula")
    assert codes(cast.lead, f"/api/v1/farms/{made}", "&owner=program") == []


@pytest.mark.parametrize(
    "how", [{"scopes": ["read", "record"]}, {"scopes": ["read", "manage"], "farm_ids": "the farm"}]
)
def test_a_key_without_the_scope_or_bound_to_farms_adds_nothing_to_a_program(how, cast, program):
    if "farm_ids" in how:
        how = {**how, "farm_ids": [cast.farm.pk]}
    _, text = make_key(cast.lead.person, label="lesser", **how)
    cast.lead.client.credentials(HTTP_AUTHORIZATION=f"Bearer {text}")
    answer = add(cast.lead, program, PROGRAMS)
    assert (answer.status_code, "scope 'manage'" in answer.json()["detail"]) == (403, True)


@pytest.fixture
def places(cast: Any, farm: str) -> dict[str, str]:
    """Give the addresses of what names a formula: the farm, a block and a vine."""
    enter(cast.owner.caller)
    opened = open_farm(cast.owner.caller, cast.farm.pk)
    block = create_block(opened, None, {"name": "Upper Terrace"}).row
    create_row(opened, block, None, 1)
    vine = create_vine(opened, block, None, {"row_number": 1, "place": 1}).row
    leave_farms()
    return {"farm": farm, "block": f"{farm}/blocks/{block.pk}", "vine": f"{farm}/vines/{vine.pk}"}


@pytest.mark.parametrize("place", ["farm", "block", "vine"])
@pytest.mark.parametrize("whose", ["own", "program"])
def test_an_own_formula_and_the_programs_may_be_named_wherever_a_formula_is(place, whose, cast, farm, program, places):
    add(cast.owner, farm)
    add(cast.lead, program, PROGRAMS)
    code = {"own": NEW["code"], "program": PROGRAMS["code"]}[whose]
    changed = cast.owner.client.patch(
        places[place], {"pruning_formula": code}, format="json", headers={"If-Match": "*"}
    )
    assert (changed.status_code, changed.json().get("pruning_formula")) == (200, f"{code}@1")
    assert cast.viewer.client.get(places[place]).json()["pruning_formula"] == f"{code}@1"


@pytest.mark.parametrize("place", ["farm", "block", "vine"])
def test_another_farms_code_is_refused_as_one_that_is_not_there_and_the_lists_are_named(place, cast, farm, places):
    add(cast.stranger, f"/api/v1/farms/{cast.other_farm.pk}", code="own-of-another")
    answers = [
        cast.owner.client.patch(places[place], {"pruning_formula": code}, format="json", headers={"If-Match": "*"})
        for code in ("own-of-another", "own-of-nobodys")
    ]
    first, second = (answer.json()["errors"][0]["detail"] for answer in answers)
    assert [answer.status_code for answer in answers] == [422, 422]
    assert first == second.replace("own-of-nobodys", "own-of-another")
    assert "/api/v1/formulas" in first and "/api/v1/farms/{farm}/formulas" in first


def test_a_name_without_version_stands_for_the_newest_and_what_was_named_stays_as_it_was(cast, farm):
    add(cast.owner, farm)
    named = cast.owner.client.patch(farm, {"pruning_formula": NEW["code"]}, format="json", headers={"If-Match": "*"})
    add(cast.owner, farm, further_nodes=12)
    assert named.json()["pruning_formula"] == "own-upper-terrace@1"
    assert cast.owner.client.get(farm).json()["pruning_formula"] == "own-upper-terrace@1"
    again = cast.owner.client.patch(farm, {"pruning_formula": NEW["code"]}, format="json", headers={"If-Match": "*"})
    assert again.json()["pruning_formula"] == "own-upper-terrace@2"


def test_nobody_without_a_farm_in_hand_may_name_an_own_formula(cast, farm):
    add(cast.owner, farm)
    body = {"pruning_weight": {"value": 2, "unit": "lb"}, "formula": NEW["code"]}
    assert cast.nobody.post("/api/v1/balance/targets", body, format="json").status_code == 422


def test_nodes_by_the_unit_and_a_fixed_number_are_kinds_of_their_own(cast, farm):
    per_unit = add(
        cast.owner, farm, kind="per_unit", first_nodes=..., further_nodes=15, weight_unit={"value": 1, "unit": "lb"}
    )
    fixed = add(cast.owner, farm, kind="fixed", first_nodes=100, further_nodes=..., weight_unit=...)
    assert [answer.status_code for answer in (per_unit, fixed)] == [201, 201]
    assert (fixed.json()["lowest_units"], per_unit.json()["lowest_units"]) == (None, 1)


@pytest.mark.parametrize(
    ("more", "pointer"),
    [({"kind": "per_unit"}, "#/first_nodes"),
     ({"kind": "per_unit", "first_nodes": ..., "further_nodes": ...}, "#/further_nodes"),
     ({"kind": "fixed"}, "#/further_nodes"),
     ({"first_nodes": 0.99}, "#/first_nodes"),
     ({"first_nodes": ...}, "#/first_nodes"),
     ({"weight_unit": ...}, "#/weight_unit"),
     ({"weight_unit": {"value": 0, "unit": "kg"}}, "#/weight_unit"),
     ({"weight_unit": {"value": -500, "unit": "g"}}, "#/weight_unit"),
     ({"weight_unit": {"value": 100.001, "unit": "kg"}}, "#/weight_unit"),
     ({"weight_unit": {"value": 500.0001, "unit": "g"}}, "#/weight_unit"),
     ({"lowest_units": 3, "highest_units": 3}, "#/lowest_units"),
     ({"minimum_nodes": 91, "maximum_nodes": 90}, "#/minimum_nodes"),
     ({"group": "american", "cultivar": "concord"}, "#/group"),
     ({"first_nodes": 33.001}, "#/first_nodes"),
     ({"cultivar": "no-such"}, "#/cultivar")],
)  # fmt: skip
def test_numbers_that_do_not_fit_are_refused_at_their_place_with_the_way_out(more, pointer, cast, farm):
    answer = add(cast.owner, farm, **more)
    assert (answer.status_code, answer.json()["errors"][0]["pointer"]) == (422, pointer), answer.json()
    assert len(answer.json()["detail"]) > 20
    assert codes(cast.owner, farm, "&owner=farm") == []


@pytest.mark.parametrize(
    "more",
    [{"code": "upper-terrace"}, {"code": "program-x"}, {"code": "own-"}, {"code": "own-Upper"}, {"code": "own-a--b"},
     {"code": "own-" + "x" * 57}, {"code": 7}, {"kind": "guess"}, {"first_nodes": 500.5}, {"first_nodes": -1},
     {"first_nodes": None}, {"first_nodes": True}, {"maximum_nodes": 1001}, {"year": 2101}, {"source": ""},
     {"source": "a\u0000b"}, {"source_mark": "READ"}, {"is_default": True}, {"owner": "shared"}, {"id": str(uuid.uuid4())},
     {"formula_version": 1}, {"weight_unit": "500 g"}, {"weight_unit": {"value": 1, "unit": "m"}}, {"label": "x" * 121}],
)  # fmt: skip
def test_what_is_not_as_published_is_refused_and_nobody_says_themselves_whose_a_formula_is(more, cast, farm):
    answer = add(cast.owner, farm, **more)
    assert answer.status_code == 400, answer.json()
    assert codes(cast.owner, farm, "&owner=farm") == []


@pytest.mark.parametrize("value", [b"NaN", b"-Infinity", b"1e400", b"9" * 5000, b"1e-300"])
def test_numbers_that_are_none_break_nothing(value, cast, farm):
    text = b'{"code": "own-x", "label": "x", "kind": "fixed", "source": "x", "first_nodes": %b}' % value
    answer = cast.owner.client.post(f"{farm}/formulas", text, content_type="application/json")
    assert answer.status_code in {400, 422}, answer.json()


@pytest.mark.parametrize(
    "spelling", ["own-upper-terrace", "own-upper-terrace@2", "own-upper-terrace@0", "own-upper-terrace@1@1", "%00@1",
                 "own-upper-terrace@%31%00", "own-upper-terrace@99999999999999999999", "' OR 1=1 --@1", "@1", "x" * 3000 + "@1"],
)  # fmt: skip
def test_a_version_that_is_not_there_is_not_found_however_it_is_written(spelling, cast, farm):
    add(cast.owner, farm)
    assert cast.owner.client.get(f"{farm}/formulas/{spelling}").status_code == 404


def test_an_owner_cannot_fill_the_catalogue_without_end(cast, farm, monkeypatch):
    monkeypatch.setattr(own_catalogue, "MOST_OF_ONE_OWNER", 2)
    added = [add(cast.owner, farm, first_nodes=first).status_code for first in (30, 31, 32, 30)]
    assert added == [201, 201, 409, 200]


NUMBERS = st.decimals(min_value=1, max_value=500, places=2)
UNITS = st.sampled_from([(1, "lb"), (500, "g"), (0.5, "kg"), (17.637, "oz"), (1, "t")])


@settings(max_examples=25, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    first=NUMBERS, further=NUMBERS, unit=UNITS, highest=st.none() | st.decimals(min_value=2, max_value=1000, places=3)
)
def test_whatever_is_accepted_is_shown_as_sent_and_known_again(first, further, unit, highest, cast):
    value, code = unit
    told: dict[str, Any] = {
        "first_nodes": str(first),
        "further_nodes": str(further),
        "weight_unit": {"value": value, "unit": code},
    }
    with transaction.atomic():
        mark = transaction.savepoint()
        place = f"/api/v1/farms/{cast.farm.pk}"
        answers = [
            add(cast.owner, place, **told, highest_units=None if highest is None else str(highest)) for _ in "ab"
        ]
        transaction.savepoint_rollback(mark)
    if code == "t":
        assert {answer.status_code for answer in answers} == {422}
        return
    assert [answer.status_code for answer in answers] == [201, 200], answers[0].json()
    shown = answers[0].json()
    assert (shown["first_nodes"], shown["further_nodes"]) == (float(first), float(further))
    assert shown["weight_unit"]["value"] == value
    assert shown["highest_units"] == (None if highest is None else float(highest))


@pytest.mark.django_db(transaction=True)
def test_many_who_add_at_once_each_get_a_version_of_their_own(cast, farm):
    def added(number: int) -> int:
        client = APIClient()
        client.credentials(HTTP_AUTHORIZATION=f"Bearer {cast.owner.key_text}")
        try:
            answer = client.post(f"{farm}/formulas", {**NEW, "further_nodes": number}, format="json")
            return int(answer.json()["formula_version"])
        finally:
            connection.close()

    with ThreadPoolExecutor(6) as threads:
        assert sorted(threads.map(added, range(6))) == [1, 2, 3, 4, 5, 6]
