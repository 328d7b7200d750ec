"""A person's own keys over the API: shown once, never more than their maker, rotated with an overlap, ended at once."""

from __future__ import annotations

import itertools
import uuid
from datetime import timedelta
from typing import Any

import pytest
from django.core.management import call_command
from django.utils import timezone

from records.models import ApiKey
from records.services.keys import make_key
from tests.records.test_keys import call

pytestmark = pytest.mark.django_db

SCOPES = ("read", "record", "manage")
LISTS = [list(chosen) for size in (1, 2, 3) for chosen in itertools.combinations(SCOPES, size)]


class Ring:
    """The owner's keys, seen through one of them."""

    def __init__(self, cast: Any) -> None:
        self.cast, self.person = cast, cast.owner.person

    def key(self, **more: Any) -> tuple[ApiKey, str]:
        return make_key(self.person, **{"label": "a key", "scopes": list(SCOPES), **more})

    def ask(self, text: str, method: str = "get", path: str = "", data: Any = None, version: str = "*") -> Any:
        headers = {"Authorization": f"Bearer {text}", "If-Match": version}
        return getattr(self.cast.nobody, method)(f"/api/v1/me/keys{path}", data, format="json", headers=headers)

    def make(self, text: str, **wanted: Any) -> Any:
        return self.ask(text, "post", data={"label": "made", "scopes": ["read"], **wanted})

    def rotate(self, text: str, key: Any, version: str = "*", **how: Any) -> Any:
        return self.ask(text, "post", f"/{key}/rotation", how, version)

    def opens(self, text: str) -> bool:
        return bool(call(self.cast, text).status_code != 401)


@pytest.fixture
def ring(cast: Any) -> Ring:
    return Ring(cast)


def test_a_key_is_shown_once_and_opens_what_it_was_made_for(cast, ring):
    made = ring.make(ring.key()[1], scopes=["read"], farms=[str(cast.farm.pk)], app_name="a field app")
    assert (made.status_code, made["Cache-Control"]) == (201, "no-store")
    secret = made.json()["secret"]
    assert call(cast, secret).json()["app_name"] == "a field app"
    listed = ring.ask(ring.key()[1])
    assert secret not in listed.content.decode()
    assert secret.split("_", 2)[2][:20] not in listed.content.decode()


@pytest.mark.parametrize("has", LISTS)
def test_no_key_gives_a_scope_that_it_has_not(ring, has):
    """The whole matrix: every set of scopes against every set."""
    _, text = ring.key(scopes=has)
    for wanted in LISTS:
        answer = ring.make(text, scopes=wanted)
        if "manage" not in has:
            assert answer.status_code == 403
        else:
            assert answer.status_code == (201 if set(wanted) <= set(has) else 422), (has, wanted)


def test_a_key_for_one_farm_makes_none_for_another_nor_for_all(cast, ring):
    second = cast.owner.client.post(
        "/api/v1/farms", {"name": "Second", "hemisphere": "north", "time_zone": "Europe/Paris"}, format="json"
    ).json()["id"]
    _, bound = ring.key(farm_ids=[cast.farm.pk])
    refused = [ring.make(bound), ring.make(bound, farms=[second]), ring.make(bound, farms=[str(cast.other_farm.pk)])]
    assert [answer.status_code for answer in refused] == [422, 422, 422]
    assert [answer.json()["errors"][0]["pointer"] for answer in refused] == ["#/farms", "#/farms/0", "#/farms/0"]
    assert ring.make(bound, farms=[str(cast.farm.pk)]).status_code == 201


def test_a_foreign_farm_and_a_missing_one_are_refused_alike(cast, ring):
    _, text = ring.key()
    foreign, missing = (ring.make(text, farms=[str(farm)]).json() for farm in (cast.other_farm.pk, uuid.uuid4()))
    assert foreign["errors"][0]["code"] == missing["errors"][0]["code"] == "no_such_farm"


def test_a_key_outlives_no_key_that_made_it(ring):
    key, text = ring.key(valid_for=timedelta(days=2))
    assert ring.make(text).json()["expires_at"][:19] == key.expires_at.isoformat()[:19]
    later = (timezone.now() + timedelta(days=3)).isoformat()
    assert ring.make(text, expires_at=later).json()["errors"][0]["pointer"] == "#/expires_at"


def test_a_key_made_by_another_says_which(ring):
    maker, text = ring.key()
    assert ring.make(text).json()["made_by"] == str(maker.pk)


def test_a_key_bound_to_a_farm_sees_the_keys_of_that_farm_only(cast, ring):
    ring.key(label="for all")
    bound, text = ring.key(farm_ids=[cast.farm.pk], label="for one")
    assert [each["id"] for each in ring.ask(text).json()["results"]] == [str(bound.pk)]


def test_nobody_sees_or_ends_the_keys_of_another_person(cast, ring):
    key, _ = ring.key()
    _, other = make_key(cast.stranger.person, label="x", scopes=SCOPES)
    assert ring.ask(other, path=f"/{key.pk}").status_code == 404
    assert ring.ask(other, "delete", f"/{key.pk}").status_code == 404
    assert str(key.pk) not in ring.ask(other).content.decode()


def test_a_lost_answer_leaves_no_second_key(ring):
    _, text = ring.key()
    key_id = str(uuid.uuid4())
    ring.make(text, id=key_id)
    again = ring.make(text, id=key_id)
    assert (again.status_code, again.json()["code"], again.json()["current"]["id"]) == (409, "id_in_use", key_id)
    assert "secret" not in again.json()["current"]


def test_an_id_that_is_another_persons_says_nothing_of_it(cast, ring):
    key, _ = make_key(cast.stranger.person, label="theirs", scopes=SCOPES)
    refused = ring.make(ring.key()[1], id=str(key.pk)).json()
    assert (refused["code"], "current" in refused, "theirs" in str(refused)) == ("id_unavailable", False, False)


@pytest.mark.parametrize("address", ["", "/{key}/rotation"])
def test_no_secret_is_kept_for_a_repeated_request(ring, address):
    key, text = ring.key()
    body = {"label": "made", "scopes": ["read"]} if not address else {}
    headers = {"Authorization": f"Bearer {text}", "If-Match": "*", "Idempotency-Key": "0123456789abcdef0"}
    url = f"/api/v1/me/keys{address.format(key=key.pk)}"
    first, again = (ring.cast.nobody.post(url, body, format="json", headers=headers) for _ in range(2))
    assert first.json()["secret"] not in again.content.decode()
    assert again.status_code == 409


def test_after_a_rotation_both_secrets_open_until_the_old_one_ends(ring):
    key, old = ring.key()
    rotated = ring.rotate(old, key.pk, '"1"', overlap_hours=24)
    assert (rotated.status_code, rotated.json()["version"]) == (200, 2)
    assert ring.opens(old) and ring.opens(rotated.json()["secret"])
    ApiKey.objects.filter(pk=key.pk).update(former_secret_until=timezone.now() - timedelta(seconds=1))
    assert not ring.opens(old)
    assert ring.opens(rotated.json()["secret"])


def test_a_rotation_keeps_id_prefix_scopes_farms_and_end(cast, ring):
    key, text = ring.key(farm_ids=[cast.farm.pk], scopes=["read", "record"])
    before = ring.ask(text, path=f"/{key.pk}").json()
    after = ring.rotate(text, key.pk).json()
    same = ("id", "prefix", "scopes", "farms", "expires_at", "created_at", "label")
    assert [before[name] for name in same] == [after[name] for name in same]


def test_the_old_secret_ends_after_at_most_seven_days_and_with_the_key(ring):
    key, text = ring.key()
    until = ApiKey.objects.get(pk=ring.rotate(text, key.pk).json()["id"]).former_secret_until
    assert until is not None
    assert timedelta(days=6, hours=23) < until - timezone.now() <= timedelta(days=7)
    assert ring.rotate(text, key.pk, overlap_hours=169).status_code == 400
    short, its_text = ring.key(valid_for=timedelta(hours=1))
    ring.rotate(its_text, short.pk)
    assert ApiKey.objects.get(pk=short.pk).former_secret_until == short.expires_at


def test_without_an_overlap_the_old_secret_ends_at_once(ring):
    key, old = ring.key()
    new = ring.rotate(old, key.pk, overlap_hours=0).json()
    assert (ring.opens(old), ring.opens(new["secret"]), new["former_secret_until"]) == (False, True, None)


def test_an_app_that_lost_the_answer_rotates_again_by_the_secret_it_has(ring):
    key, held = ring.key()
    lost = ring.rotate(held, key.pk, '"1"', overlap_hours=24).json()["secret"]
    until = ApiKey.objects.get(pk=key.pk).former_secret_until
    assert ring.rotate(held, key.pk, '"1"', overlap_hours=168).status_code == 412
    received = ring.rotate(held, key.pk, '"2"', overlap_hours=168).json()["secret"]
    assert [ring.opens(text) for text in (held, lost, received)] == [True, False, True]
    assert ApiKey.objects.get(pk=key.pk).former_secret_until == until, "the secret before never gains time"


def test_any_key_may_rotate_and_end_itself(ring):
    key, text = ring.key(scopes=["read"])
    assert ring.rotate(text, key.pk).status_code == 200
    assert ring.ask(text, "delete", f"/{key.pk}").status_code == 200
    assert not ring.opens(text)


@pytest.mark.parametrize(
    "maker", [{"scopes": ["read", "record"]}, {"scopes": ["read", "manage"]}, {"valid_for": timedelta(days=1)}]
)
def test_a_key_hands_out_no_secret_of_one_that_has_more(ring, maker):
    key, before = ring.key()
    _, text = ring.key(**maker)
    assert ring.rotate(text, key.pk).status_code == 403
    assert ring.opens(before)


def test_a_key_for_one_farm_does_not_reach_one_for_all(cast, ring):
    key, _ = ring.key()
    _, bound = ring.key(farm_ids=[cast.farm.pk])
    assert ring.rotate(bound, key.pk).status_code == 404
    assert ring.ask(bound, "delete", f"/{key.pk}").status_code == 404


def test_a_revoked_key_opens_nothing_on_the_next_request_by_either_secret(ring):
    key, old = ring.key()
    new = ring.rotate(old, key.pk).json()["secret"]
    ring.ask(ring.key()[1], "delete", f"/{key.pk}", version='"2"')
    assert [ring.opens(text) for text in (old, new)] == [False, False]


def test_revoking_twice_is_once_and_a_revoked_key_is_rotated_no_more(ring):
    key, _ = ring.key()
    _, manager = ring.key()
    first, again = (ring.ask(manager, "delete", f"/{key.pk}", version='"1"') for _ in range(2))
    assert first.json() == again.json()
    assert ring.rotate(manager, key.pk).status_code == 409


@pytest.mark.parametrize(("version", "status"), [('"7"', 412), ("", 428)])
def test_rotation_and_revocation_say_which_version_they_know(ring, version, status):
    key, text = ring.key()
    assert ring.rotate(text, key.pk, version).status_code == status
    assert ring.ask(text, "delete", f"/{key.pk}", version=version).status_code == status
    assert ring.opens(text)


def test_a_mistyped_key_an_unknown_one_and_ended_ones_are_answered_by_the_same_401(cast, ring):
    _, text = ring.key()
    key, revoked = ring.key()
    ring.ask(text, "delete", f"/{key.pk}")
    rotated, former = ring.key()
    ring.rotate(former, rotated.pk, overlap_hours=0)
    _, unknown = ring.key()
    ApiKey.objects.filter(prefix=unknown.split("_")[1]).delete()
    mistyped = text[:-1] + ("0" if text[-1] != "0" else "1")
    answers = [call(cast, each) for each in (revoked, former, unknown, mistyped, "vine_", "x")]
    assert {answer.status_code for answer in answers} == {401}
    bodies = [{name: value for name, value in answer.json().items() if name != "request_id"} for answer in answers]
    assert all(body == bodies[0] for body in bodies)


def test_no_secret_stands_in_the_tables(ring, capsys):
    _, text = ring.key()
    made = ring.make(text).json()
    secrets = [made["secret"], ring.rotate(text, made["id"]).json()["secret"]]
    call_command("dumpdata", "records.apikey")
    dumped = capsys.readouterr().out
    assert made["prefix"] in dumped
    assert not [secret for secret in secrets if secret.split("_", 2)[2][:43] in dumped]
