"""Rate limits of the API: whom a request counts against, and what the answers say."""

from __future__ import annotations

import uuid
from typing import Any

import pytest

from vineyard.limits.rates import Limit

pytestmark = pytest.mark.django_db


@pytest.fixture
def limit(settings: Any) -> Any:
    """Set limits that fill so slowly that nothing comes back during a test; the others are off."""

    def set_to(**amounts: int) -> None:
        off: dict[str, Limit | None] = dict.fromkeys(settings.RATE_LIMITS)
        settings.RATE_LIMITS = off | {name: Limit(name, amount, 86_400) for name, amount in amounts.items()}

    return set_to


def statuses(player: Any, path: str, times: int) -> list[int]:
    return [player.client.get(path).status_code for _ in range(times)]


def test_one_key_sends_so_many_and_is_told_when_to_come_back(cast, limit):
    limit(key=3)
    path = f"/api/v1/farms/{cast.farm.pk}"
    assert statuses(cast.owner, path, 3) == [200, 200, 200]
    refused = cast.owner.client.get(path)
    assert refused.status_code == 429
    assert refused.headers["Content-Type"] == "application/problem+json"
    assert refused.json()["code"] == "too_many_requests"
    assert "than 3 requests in 86,400 seconds" in refused.json()["detail"]
    assert 28_700 < int(refused.headers["Retry-After"]) <= 28_801
    assert statuses(cast.worker, path, 1) == [200]


def test_the_answers_say_how_the_limits_stand(cast, limit):
    limit(key=3, farm=100)
    answer = cast.owner.client.get(f"/api/v1/farms/{cast.farm.pk}")
    assert answer.headers["RateLimit-Policy"] == '"key";q=3;w=86400, "farm";q=100;w=86400'
    assert answer.headers["RateLimit"] == '"key";r=2;t=28800, "farm";r=99;t=864'


def test_all_keys_of_a_farm_share_its_bucket_and_another_farm_has_its_own(cast, limit):
    limit(farm=4)
    path = f"/api/v1/farms/{cast.farm.pk}"
    flood = statuses(cast.owner, path, 3) + statuses(cast.worker, path, 3)
    assert flood == [200] * 4 + [429] * 2
    assert statuses(cast.stranger, f"/api/v1/farms/{cast.other_farm.pk}", 4) == [200] * 4


def test_a_stranger_spends_nothing_of_a_farm_but_of_the_own_key(cast, limit):
    limit(key=5, farm=2)
    path = f"/api/v1/farms/{cast.farm.pk}"
    assert statuses(cast.stranger, path, 6) == [404] * 5 + [429]
    assert statuses(cast.owner, path, 2) == [200, 200]


def new_address() -> str:
    """Give an address that no test, of this run or an earlier one, has used."""
    return f"2001:db8:{uuid.uuid4().hex[:4]}:{uuid.uuid4().hex[:4]}::1"


def test_without_a_key_the_address_counts(client, limit):
    limit(address=2)
    one, other = new_address(), new_address()
    seen = [client.get("/openapi.json", REMOTE_ADDR=address).status_code for address in (one, one, one, other)]
    assert seen == [200, 200, 429, 200]


def test_many_wrong_keys_from_one_address_are_refused_and_a_right_one_goes_on(cast, client, limit):
    limit(wrong_keys=3)
    address = new_address()
    wrong = [
        client.get("/api/v1/me", headers={"Authorization": f"Bearer wrong{n}"}, REMOTE_ADDR=address) for n in range(5)
    ]
    assert [answer.status_code for answer in wrong] == [401, 401, 401, 429, 429]
    assert "Retry-After" in wrong[-1].headers
    assert cast.owner.client.get("/api/v1/me", REMOTE_ADDR=address).status_code == 200


def test_a_view_spends_more_for_what_costs_more(cast, limit, monkeypatch):
    from records.api.farms import Me

    limit(key=100)
    inner = Me.get

    def costly(view: Any, request: Any) -> Any:
        view.spend(40)
        return inner(view, request)

    monkeypatch.setattr(Me, "get", costly)
    assert statuses(cast.owner, "/api/v1/me", 3) == [200, 200, 429]


def test_pages_for_people_say_nothing_of_limits(client):
    assert "RateLimit" not in client.get("/livez").headers


@pytest.mark.parametrize("name", ["key", "farm", "address", "wrong_keys"])
def test_by_default_a_phone_that_sends_ten_thousand_records_is_not_stopped(name, settings):
    limit = settings.RATE_LIMITS[name]
    assert limit.amount >= {"key": 10_000, "farm": 10_000}.get(name, 1_000)
    assert limit.seconds <= 60
