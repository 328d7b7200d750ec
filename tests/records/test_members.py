"""The people of a farm: added by address, changed and removed with the version known, and never without an owner."""

from __future__ import annotations

from typing import Any

import pytest

from records.models import Person, RecordChange
from tests.test_access_matrix import make_scene

pytestmark = pytest.mark.django_db

NEW = {"email": "new.hand@tern-hill.example", "name": "New Hand", "role": "worker"}


class Office:
    """The owner's desk."""

    def __init__(self, cast: Any) -> None:
        self.client, self.url = cast.owner.client, f"/api/v1/farms/{cast.farm.pk}/members"

    def add(self, **more: Any) -> Any:
        return self.client.post(self.url, {**NEW, **more}, format="json")

    def of(self, player: Any) -> dict[str, Any]:
        listed = self.client.get(self.url).json()["results"]
        found: dict[str, Any] = next(each for each in listed if each["email"] == player.person.email)
        return found

    def change(self, member: dict[str, Any], version: str = "*", **changes: Any) -> Any:
        return self.client.patch(f"{self.url}/{member['id']}", changes, format="json", headers={"If-Match": version})

    def remove(self, member: dict[str, Any], version: str = "*") -> Any:
        return self.client.delete(f"{self.url}/{member['id']}", headers={"If-Match": version})


@pytest.fixture
def office(cast: Any) -> Office:
    return Office(cast)


def test_a_person_whom_the_service_does_not_know_is_made_and_can_call_once_they_have_a_key(office):
    added = office.add()
    assert (added.status_code, added.json()["role"]) == (201, "worker")
    assert not Person.objects.get(email=NEW["email"]).has_usable_password()


def test_a_person_whom_the_service_knows_is_answered_as_if_it_did_not(cast, office):
    known, unknown = (office.add(email=email).json() for email in (cast.stranger.person.email, NEW["email"]))
    assert known["name"] == unknown["name"] == NEW["name"]
    assert known.keys() == unknown.keys()
    assert str(cast.stranger.person.pk) not in str(known)


def test_the_same_person_added_again_is_the_same_member(office):
    first, again = office.add(), office.add()
    assert (first.status_code, again.status_code) == (201, 200)
    assert first.json() == again.json()


def test_another_role_is_a_change_and_not_a_second_member(office):
    office.add()
    refused = office.add(role="owner")
    assert (refused.status_code, refused.json()["code"]) == (409, "already_recorded")
    assert refused.json()["current"]["role"] == "worker"


def test_a_change_of_role_works_on_the_next_request(cast, office):
    block = {"name": "Lower"}
    assert cast.viewer.client.post(f"{office.url[:-8]}/blocks", block, format="json").status_code == 403
    assert office.change(office.of(cast.viewer), '"1"', role="owner").json()["version"] == 2
    assert cast.viewer.client.post(f"{office.url[:-8]}/blocks", block, format="json").status_code == 201


def test_a_person_who_was_removed_finds_no_farm_on_the_next_request(cast, office):
    assert cast.worker.client.get(office.url[:-8]).status_code == 200
    assert office.remove(office.of(cast.worker)).status_code == 204
    assert cast.worker.client.get(office.url[:-8]).status_code == 404
    assert cast.worker.client.get("/api/v1/farms").json()["results"] == []


def test_what_a_removed_person_recorded_stays(cast, office):
    scene = make_scene(cast.owner, cast.farm, cast.program)
    posted = cast.worker.client.post(f"{office.url[:-8]}/dormant-records", scene.weighing(), format="json")
    office.remove(office.of(cast.worker))
    kept = cast.owner.client.get(f"{office.url[:-8]}/dormant-records/{posted.json()['id']}")
    assert kept.status_code == 200


@pytest.mark.parametrize("act", ["remove", "change"])
def test_the_last_owner_stays(cast, office, act):
    owner = office.of(cast.owner)
    refused = office.remove(owner) if act == "remove" else office.change(owner, role="viewer")
    assert (refused.status_code, "at least one owner" in refused.json()["detail"]) == (409, True)
    assert office.of(cast.owner)["role"] == "owner"


def test_an_owner_may_go_once_there_is_another(cast, office):
    office.change(office.of(cast.worker), role="owner")
    assert office.remove(office.of(cast.owner)).status_code == 204
    assert cast.owner.client.get(office.url[:-8]).status_code == 404


def test_an_owner_whose_account_is_off_keeps_no_farm(cast, office):
    office.change(office.of(cast.viewer), role="owner")
    Person.objects.filter(pk=cast.viewer.person.pk).update(is_active=False)
    assert office.remove(office.of(cast.owner)).status_code == 409


@pytest.mark.parametrize(("version", "status"), [('"7"', 412), ("", 428)])
def test_change_and_removal_say_which_version_they_know(cast, office, version, status):
    member = office.of(cast.worker)
    assert office.change(member, version, role="viewer").status_code == status
    assert office.remove(member, version).status_code == status
    assert office.of(cast.worker)["role"] == "worker"


def test_a_role_beside_a_consent_is_refused(cast, office):
    """Whoever is taken off the farm must not still come in by the other."""
    refused = office.add(email=cast.adviser.person.email)
    assert (refused.status_code, "by consent" in refused.json()["detail"]) == (409, True)


def test_what_a_member_was_is_kept(cast, office):
    member = office.of(cast.worker)
    office.change(member, role="viewer")
    office.remove(member)
    kept = RecordChange.objects.for_farm(cast.farm).filter(entity="membership", entity_id=member["id"])
    assert [each.old_row["role"] for each in kept.order_by("version")] == ["worker", "viewer"]


@pytest.mark.parametrize(
    ("wrong", "pointer", "status"),
    [
        ({"email": "no address"}, "#/email", 422),  # no schema can say what an address is
        ({"role": "adviser"}, "#/role", 400),
        ({"name": ""}, "#/name", 400),
    ],
)
def test_what_is_wrong_is_named(office, wrong, pointer, status):
    refused = office.add(**wrong)
    assert (refused.status_code, [each["pointer"] for each in refused.json()["errors"]]) == (status, [pointer])
