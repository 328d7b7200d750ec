"""Keys: shown once, kept as a hash, worth no more than scope, role and farm together."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

import pytest
from django.utils import timezone

from records.models import ApiKey
from records.services.keys import find_key, make_key, revoke_key

pytestmark = pytest.mark.django_db


def call(cast: Any, text: str, path: str = "/api/v1/me", method: str = "get", **kwargs: Any) -> Any:
    return getattr(cast.nobody, method)(path, headers={"Authorization": f"Bearer {text}"}, **kwargs)


def key_of(cast: Any, **more: Any) -> tuple[ApiKey, str]:
    return make_key(cast.owner.person, **{"label": "a key", "scopes": ["read", "record", "manage"], **more})


def test_only_a_hash_of_the_secret_is_kept(cast):
    key, text = key_of(cast)
    secret = text.split("_", 2)[2][:43]
    assert secret not in str(ApiKey.objects.filter(pk=key.pk).values().get())


def test_a_revoked_key_opens_nothing_from_the_next_request_on(cast):
    key, text = key_of(cast)
    assert call(cast, text).status_code == 200
    revoke_key(key)
    assert call(cast, text).status_code == 401


def test_an_expired_key_a_wrong_key_and_an_inactive_persons_key_are_answered_alike(cast):
    _, expired = key_of(cast, valid_for=timedelta(seconds=-1))
    _, right = key_of(cast)
    wrong = right[:-20] + ("A" if right[-20] != "A" else "B") + right[-19:]
    _, inactive = make_key(cast.viewer.person, label="x", scopes=["read"])
    cast.viewer.person.is_active = False
    cast.viewer.person.save()
    bodies = []
    for text in (expired, wrong, inactive):
        answer = call(cast, text)
        assert answer.status_code == 401
        bodies.append({name: value for name, value in answer.json().items() if name != "request_id"})
    assert bodies[0] == bodies[1] == bodies[2]


@pytest.mark.parametrize(
    "text", ["", "vine_", "vine_abc", "VINE_" + "a" * 60, "vine_00000000_" + "a" * 43 + "00000000"]
)
def test_what_is_not_shaped_like_a_key_is_not_looked_for(text, django_assert_num_queries):
    with django_assert_num_queries(0):
        assert find_key(text) is None


def test_a_key_without_the_scope_may_not_although_its_person_might(cast):
    _, text = key_of(cast, scopes=["read"])
    refused = call(cast, text, f"/api/v1/farms/{cast.farm.pk}/blocks", "post", data={"name": "a"}, format="json")
    assert (refused.status_code, "does not carry the scope 'manage'" in refused.json()["detail"]) == (403, True)


def test_a_key_with_every_scope_gives_its_person_no_more_than_their_role(cast):
    refused = cast.viewer.client.post(f"/api/v1/farms/{cast.farm.pk}/blocks", {"name": "a"}, format="json")
    assert (refused.status_code, "As viewer of this farm" in refused.json()["detail"]) == (403, True)


def test_a_key_for_one_farm_does_not_open_another_of_the_same_person(cast):
    made = cast.owner.client.post(
        "/api/v1/farms", {"name": "Second", "hemisphere": "north", "time_zone": "Europe/Paris"}, format="json"
    ).json()
    _, text = key_of(cast, farm_ids=[cast.farm.pk])
    assert call(cast, text, f"/api/v1/farms/{cast.farm.pk}").status_code == 200
    assert call(cast, text, f"/api/v1/farms/{made['id']}").status_code == 404
    assert [farm["id"] for farm in call(cast, text, "/api/v1/farms").json()["results"]] == [str(cast.farm.pk)]


def test_the_last_use_is_kept_without_a_write_on_every_request(cast):
    key, text = key_of(cast)
    call(cast, text)
    first = ApiKey.objects.get(pk=key.pk).last_used_at
    call(cast, text)
    assert first is not None
    assert timezone.now() - first < timedelta(minutes=1)
    assert ApiKey.objects.get(pk=key.pk).last_used_at == first


def test_a_key_is_found_with_all_that_is_on_record_of_it_and_of_its_person(cast):
    made, text = key_of(cast)
    key = find_key(text)
    assert key is not None
    on_record = ApiKey.objects.select_related("person").get(pk=made.pk)
    for found, stands in ((key, on_record), (key.person, on_record.person)):
        names = [field.attname for field in stands._meta.concrete_fields]
        assert [getattr(found, name) for name in names] == [getattr(stands, name) for name in names]
        assert not found._state.adding
