"""The grower's own access log: every request that a consent lets in is in it, and nobody can take it out."""

from __future__ import annotations

import random
import uuid
from typing import Any

import pytest
from django.db import ProgrammingError, connection, transaction

from records.models import Visit
from tests.test_access_matrix import MATRIX, make_scene

pytestmark = pytest.mark.django_db


class Log:
    """The log of the farm, as its owner reads it."""

    def __init__(self, cast: Any) -> None:
        self.cast, self.farm = cast, f"/api/v1/farms/{cast.farm.pk}"

    def entries(self, query: str = "") -> list[dict[str, Any]]:
        found, address = [], f"{self.farm}/access-log?limit=500{query}"
        while address:
            page = self.cast.owner.client.get(address).json()
            found += page["results"]
            address = page["next"]
        return found


@pytest.fixture
def log(cast: Any) -> Log:
    return Log(cast)


def let_program_read(cast: Any) -> dict[str, Any]:
    asked = {"purpose": "records", "program": str(cast.program.pk), "text_version": "records@1"}
    given: dict[str, Any] = cast.owner.client.post(
        f"/api/v1/farms/{cast.farm.pk}/consents", asked, format="json"
    ).json()
    return given


def test_a_hundred_reads_by_adviser_and_lead_leave_a_hundred_entries_each_its_own(cast, log):
    scene = make_scene(cast.owner, cast.farm, cast.program)
    let_program_read(cast)
    read = {
        route: case
        for (method, route), case in MATRIX.items()
        if method == "GET" and route.startswith("api/") and "{farm}" in route
    }
    routes = ["/" + route.format(**{**scene.ids, **case.ids}) for route, case in read.items()]
    assert len(routes) > 10
    chance = random.Random(7)
    asked = []
    for number in range(100):
        name, address = chance.choice(["adviser", "lead"]), chance.choice(routes)
        mark = f"read-{number}"
        getattr(cast, name).client.get(
            address, {"season": 2027} if "season" in address else {}, headers={"X-Request-ID": mark}
        )
        asked.append((mark, getattr(cast, name).person.email, "GET", address))
    told = [(each["request_id"], each["visitor"]["email"], each["method"], each["path"]) for each in log.entries()]
    refused = {each for each in asked if each not in told}
    assert sorted(told) == sorted(set(asked) - refused)
    assert all(_is_for_owners(address) for *_, address in refused)
    assert len(told) > 60


def _is_for_owners(address: str) -> bool:
    """Say whether the door lets no visitor to this address at all."""
    ends = ("members", "consents", "access-log", "exports", "file", "webhook-endpoints", "report-schedules/")
    return any(f"/{end}" in address for end in ends)


def test_an_entry_says_who_by_which_consent_what_and_when(cast, log):
    cast.adviser.client.get(f"{log.farm}/blocks", headers={"X-Request-ID": "look-1"})
    (entry,) = log.entries()
    consent = cast.owner.client.get(f"{log.farm}/consents").json()["results"][0]
    assert entry | {"id": "", "visited_at": ""} == {
        "id": "",
        "visited_at": "",
        "visitor": consent["adviser"],
        "consent": consent["id"],
        "purpose": "advice",
        "program": None,
        "method": "GET",
        "path": f"{log.farm}/blocks",
        "request_id": "look-1",
    }


def test_the_farms_own_people_leave_no_entry(cast, log):
    for name in ("owner", "worker", "viewer"):
        getattr(cast, name).client.get(f"{log.farm}/blocks")
    assert log.entries() == []


def test_a_list_of_farms_that_shows_the_farm_is_in_the_log_too(cast, log):
    for address in ("/api/v1/farms", "/api/v1/me"):
        cast.adviser.client.get(address)
    assert {entry["path"] for entry in log.entries()} == {"/api/v1/farms", "/api/v1/me"}


def test_a_refusal_that_shows_a_record_is_in_the_log_although_it_changed_nothing(cast, log):
    """A stale change is answered with the record as it stands."""
    scene = make_scene(cast.owner, cast.farm, cast.program)
    address = f"{log.farm}/dormant-records/{scene.ids['record']}"
    refused = cast.adviser.client.patch(address, {"nodes_retained": 9}, format="json", headers={"If-Match": '"99"'})
    assert (refused.status_code, refused.json()["current"]["id"]) == (412, str(scene.ids["record"]))
    assert [(entry["method"], entry["path"]) for entry in log.entries()] == [("PATCH", address)]


def test_the_log_can_be_asked_by_consent(cast, log):
    records = let_program_read(cast)
    cast.lead.client.get(log.farm)
    cast.adviser.client.get(log.farm)
    assert [entry["purpose"] for entry in log.entries(f"&consent={records['id']}")] == ["records"]
    assert log.entries(f"&consent={uuid.uuid4()}") == []


def test_an_entry_outlives_the_consent(cast, log):
    cast.adviser.client.get(log.farm)
    consent = cast.owner.client.get(f"{log.farm}/consents").json()["results"][0]
    cast.owner.client.delete(f"{log.farm}/consents/{consent['id']}", headers={"If-Match": "*"})
    assert [entry["consent"] for entry in log.entries()] == [consent["id"]]


@pytest.mark.parametrize("sql", ["UPDATE visit SET path = '/'", "DELETE FROM visit"])
def test_an_entry_can_be_neither_changed_nor_removed_by_the_role_that_serves(sql):
    with (
        pytest.raises(ProgrammingError, match="permission denied"),
        transaction.atomic(),
        connection.cursor() as cursor,
    ):
        cursor.execute(sql)


def test_a_visit_that_cannot_be_noted_shows_nothing(cast, log, monkeypatch):
    def broken(*_: Any) -> None:
        raise ProgrammingError("the log is away")

    monkeypatch.setattr(Visit.objects, "bulk_create", broken)
    cast.adviser.client.raise_request_exception = False
    assert cast.adviser.client.get(f"{log.farm}/blocks").status_code == 500
