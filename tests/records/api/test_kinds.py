"""Every kind of record: stored once, told apart from zero and from nothing, corrected, withdrawn, reinstated."""

from __future__ import annotations

import pytest

from records.access import enter, open_farm
from records.api.kind_examples import EXAMPLES, change_of
from records.kinds import KINDS
from records.kinds.members import Count, Measured
from records.services.vineyards import create_block
from tests.records.yard import Yard

pytestmark = pytest.mark.django_db
EVERY_KIND = pytest.mark.parametrize("kind", KINDS.values(), ids=KINDS)


@pytest.fixture
def yard(cast) -> Yard:
    return Yard(cast)


@EVERY_KIND
def test_a_record_is_shown_as_the_documentation_shows_it(kind, yard):
    answer = yard.post(kind, yard.new(kind))
    assert answer.status_code == 201, answer.json()
    shown = answer.json()
    for name, value in EXAMPLES[kind.name].items():
        if name not in {"id", "block", "vine", "recorded_by", "app_name", "received_at", "changed_at"}:
            assert shown[name] == value, name


@EVERY_KIND
def test_sent_again_it_stores_nothing_new_and_with_other_content_it_is_refused(kind, yard):
    sent = yard.new(kind)
    first, again = yard.post(kind, sent), yard.post(kind, sent)
    other = yard.post(kind, {**sent, "note": "another"})
    assert (first.status_code, again.status_code, other.status_code) == (201, 200, 409)
    assert first.json()["id"] == again.json()["id"] == sent["id"]
    assert other.json()["code"] == "id_in_use"
    assert other.json()["current"]["note"] == ""


@EVERY_KIND
def test_missing_and_null_are_not_measured_and_zero_is_a_finding(kind, yard):
    optional = [
        member
        for member in kind.members
        if isinstance(member, Count) and not member.required and member.low == 0 and member.default is None
    ]
    for number, member in enumerate(optional[:3]):
        vine = str(yard.vines[number].pk)
        left_out = yard.post(kind, yard.new(kind, **_none_of_others(kind, member), vine=vine))
        assert left_out.status_code == 201, left_out.json()
        assert left_out.json()[member.name] is None
        zero = yard.client.patch(
            yard.at(kind, left_out.json()), {member.name: 0}, format="json", headers={"If-Match": "*"}
        )
        assert zero.json()[member.name] == 0
        null = yard.client.patch(
            yard.at(kind, zero.json()), {member.name: None}, format="json", headers={"If-Match": "*"}
        )
        assert null.json()[member.name] is None


def _none_of_others(kind, member):
    """Leave out the member, and what would contradict a zero or an empty one."""
    return {other.name: ... for other in kind.members if isinstance(other, Count | Measured) and not other.required}


@EVERY_KIND
def test_a_correction_keeps_the_version_before_with_its_reason(kind, yard):
    stored = yard.post(kind, yard.new(kind))
    change = {**change_of(kind), "note": "corrected"}
    answer = yard.client.patch(
        yard.at(kind, stored.json()), change, format="json", headers={"If-Match": stored["ETag"]}
    )
    assert (answer.status_code, answer.json()["version"], answer["ETag"]) == (200, 2, '"2"')
    versions = yard.client.get(yard.at(kind, stored.json(), "/versions")).json()["results"]
    assert [(each["version"], each["reason"], each["record"]["note"]) for each in versions] == [
        (1, change["reason"], "")
    ]


@pytest.mark.parametrize("member", ["vine", "season", "observed_at"])
def test_what_a_record_is_about_cannot_be_changed_and_the_way_out_is_named(member, yard):
    kind = KINDS["shoot_count"]
    record = yard.post(kind, yard.new(kind)).json()
    answer = yard.client.patch(
        yard.at(kind, record), {member: record[member]}, format="json", headers={"If-Match": "*"}
    )
    error = answer.json()["errors"][0]
    assert (answer.status_code, error["code"], error["pointer"]) == (400, "unknown_member", f"#/{member}")
    assert "withdraw" in error["detail"]


@EVERY_KIND
def test_a_change_whose_reply_was_lost_is_answered_with_what_it_made(kind, yard):
    stored = yard.post(kind, yard.new(kind))
    send = lambda: yard.client.patch(  # noqa: E731
        yard.at(kind, stored.json()), {"note": "corrected"}, format="json", headers={"If-Match": '"1"'}
    )
    assert [send().json()["version"], send().json()["version"]] == [2, 2]
    other = yard.client.patch(
        yard.at(kind, stored.json()), {"note": "something else"}, format="json", headers={"If-Match": '"1"'}
    )
    assert (other.status_code, other.json()["current"]["note"]) == (412, "corrected")


@EVERY_KIND
def test_a_withdrawn_record_stays_as_a_tombstone_and_no_late_phone_brings_it_back(kind, yard):
    sent = yard.new(kind)
    stored = yard.post(kind, sent)
    where = yard.at(kind, stored.json())
    gone = yard.client.delete(f"{where}?reason=wrong+vine", headers={"If-Match": '"1"'})
    assert (gone.status_code, gone.json()["version"]) == (200, 2)
    assert gone.json()["withdrawn_at"] is not None
    assert yard.client.delete(where, headers={"If-Match": '"1"'}).json() == gone.json()
    late = [
        yard.post(kind, sent),
        yard.client.patch(where, {"note": "late"}, format="json", headers={"If-Match": '"1"'}),
        yard.client.patch(where, {"note": "late"}, format="json", headers={"If-Match": "*"}),
    ]
    assert [(answer.status_code, answer.json()["code"]) for answer in late] == [(409, "withdrawn")] * 3
    assert yard.client.get(where).json()["withdrawn_at"] is not None


@EVERY_KIND
def test_lists_leave_a_withdrawn_record_out_unless_asked(kind, yard):
    stored = yard.post(kind, yard.new(kind))
    yard.client.delete(yard.at(kind, stored.json()), headers={"If-Match": "*"})
    counts = [
        len(yard.client.get(f"{yard.url}/{kind.path}{query}").json()["results"])
        for query in ("", "?withdrawn=only", "?withdrawn=include")
    ]
    assert counts == [0, 1, 1]


@EVERY_KIND
def test_a_reinstated_record_stands_again_unless_its_place_was_taken(kind, yard):
    first = yard.post(kind, yard.new(kind))
    where = yard.at(kind, first.json())
    yard.client.delete(where, headers={"If-Match": "*"})
    back = yard.client.post(f"{where}/reinstatement?reason=right+after+all", headers={"If-Match": '"2"'})
    assert (back.status_code, back.json()["version"], back.json()["withdrawn_at"]) == (200, 3, None)
    if kind.once:
        yard.client.delete(where, headers={"If-Match": "*"})
        assert yard.post(kind, yard.new(kind)).status_code == 201
        taken = yard.client.post(f"{where}/reinstatement", headers={"If-Match": "*"})
        assert (taken.status_code, taken.json()["code"]) == (409, "already_recorded")


@pytest.mark.parametrize("name", [kind.name for kind in KINDS.values() if kind.once])
def test_a_second_live_record_in_one_place_is_refused_and_shown_the_first(name, yard):
    kind = KINDS[name]
    first = yard.post(kind, yard.new(kind))
    second = yard.post(kind, yard.new(kind))
    assert (second.status_code, second.json()["code"]) == (409, "already_recorded")
    assert second.json()["current"]["id"] == first.json()["id"]


WRONG = [
    ("bud_sample", {"primary_alive": 101}, "#/nodes_examined", "more_than_examined"),
    ("bud_sample", {"first_node": 11}, "#/first_node", "turned_round"),
    ("bud_sample", {"cut_on": "2027-02-30"}, "#/cut_on", "invalid"),
    ("bud_sample", {"block": ...}, "#/vine", "required"),
    ("shoot_count", {"count_shoots": 44.5}, "#/count_shoots", "invalid"),
    ("shoot_count", {"growth_stage": {"scale": "bbch", "code": "5"}}, "#/growth_stage/code", "unknown_stage"),
    ("shoot_count", {"growth_stage": {"scale": "bbch"}}, "#/growth_stage/code", "required"),
    ("shoot_count", {"growth_stage": {"scale": "eichorn_lorenz", "code": "05"}}, "#/growth_stage/scale", "invalid_choice"),
    ("cluster_count", {"clusters_after_thinning": 90}, "#/clusters_after_thinning", "more_than_before"),
    ("cluster_count", {"lag_phase_clusters": ...}, "#/lag_phase_clusters", "required"),
    ("cluster_count", {"lag_phase_weight": {"value": 2, "unit": "m"}}, "#/lag_phase_weight/unit", "unit_dimension_mismatch"),
    ("harvest_record", {"yield": {"value": 3, "unit": "ton"}}, "#/yield/unit", "ambiguous_unit"),
    ("harvest_record", {"marketable_yield": {"value": 22, "unit": "lb"}}, "#/marketable_yield", "more_than_all"),
    ("harvest_record", {"reference_acid": ...}, "#/reference_acid", "required"),
    ("harvest_record", {"scope": "block"}, "#/scope", "scope_mismatch"),
    ("harvest_record", {"soluble_solids": {"value": 16.2, "unit": "kg"}}, "#/soluble_solids/unit", "unit_dimension_mismatch"),
    ("harvest_record", {"titratable_acidity": {"value": 90, "unit": "meq/L"}}, "#/titratable_acidity/unit", "unknown_unit"),
    ("harvest_record", {"ph": 9}, "#/ph", "max_value"),
    ("cordon_inspection", {"blank_length": {"value": 60, "unit": "in"}}, "#/blank_length", "longer_than_cordon"),
    ("cordon_inspection", {"candidate_springs_from": "none_found"}, "#/candidate_springs_from", "nothing_to_measure"),
    ("cordon_inspection", {"disease_signs": ["gumming", "gumming"]}, "#/disease_signs", "repeated"),
    ("cordon_inspection", {"disease_signs": ["mildew"]}, "#/disease_signs/0", "invalid_choice"),
    ("cordon_inspection", {"tie_too_tight": "yes"}, "#/tie_too_tight", "invalid"),
    ("cordon_inspection", {"wieght": 1}, "#/wieght", "unknown_member"),
    ("vine_event", {"event": "eaten"}, "#/event", "invalid_choice"),
    ("vine_event", {"observed_at": "2027-04-28T14:00:00"}, "#/observed_at", "offset"),
    ("dormant_record", {"pruning_weight": {"value": 51, "unit": "kg"}}, "#/pruning_weight", "out_of_range"),
]  # fmt: skip


@pytest.mark.parametrize(("name", "change", "pointer", "code"), WRONG)
def test_what_is_wrong_is_named_with_its_place_and_nothing_is_stored(name, change, pointer, code, yard):
    kind = KINDS[name]
    answer = yard.post(kind, yard.new(kind, **change))
    assert answer.status_code in {400, 422}, answer.json()
    assert (pointer, code) in [(error["pointer"], error["code"]) for error in answer.json()["errors"]], answer.json()
    assert yard.client.get(f"{yard.url}/{kind.path}?withdrawn=include").json()["results"] == []


def test_a_harvest_in_december_needs_its_season_said(yard):
    kind = KINDS["harvest_record"]
    late = yard.new(kind, observed_at="2027-12-10T11:00:00-05:00")
    unsaid, said = yard.post(kind, late), yard.post(kind, {**late, "season": 2027})
    assert (unsaid.status_code, said.status_code, said.json()["season"]) == (422, 201, 2027)


def test_a_vine_contradicts_a_block_that_is_not_its_own(yard, cast):
    enter(cast.owner.caller)
    other = create_block(open_farm(cast.owner.caller, cast.farm.pk), None, {"name": "Upper"}).row
    kind = KINDS["bud_sample"]
    answer = yard.post(kind, yard.new(kind, vine=str(yard.vines[0].pk), block=str(other.pk)))
    assert (answer.status_code, answer.json()["errors"][0]["code"]) == (422, "not_its_block")


def test_a_withdrawn_weighing_has_no_part_in_the_targets_of_its_block(yard):
    kind = KINDS["dormant_record"]
    stored = yard.post(kind, yard.new(kind)).json()
    targets = f"{yard.url}/blocks/{yard.block.pk}/targets?season=2027"
    statistics = f"{yard.url}/blocks/{yard.block.pk}/statistics?season=2027"
    assert yard.client.get(statistics).json()["n"] == 1
    yard.client.delete(yard.at(kind, stored), headers={"If-Match": "*"})
    assert yard.client.get(statistics).json()["n"] == 0
    assert {vine["record"] for vine in yard.client.get(targets).json()["results"]} == {None}
