"""The feed of changes: nothing that was committed is skipped, and a client goes on where it stopped."""

from __future__ import annotations

import threading
import uuid
from typing import Any

import pytest
from django.db import connection, transaction

from records.access import enter, open_farm
from records.kinds import KINDS
from records.services.feed import after_restore
from records.services.recording import record
from tests.records.yard import Bulk

pytestmark = pytest.mark.django_db(transaction=True)


@pytest.fixture
def bulk(cast) -> Bulk:
    with transaction.atomic():
        return Bulk(cast)


class Reader:
    """A client that keeps its cursor and what it has."""

    def __init__(self, bulk: Bulk) -> None:
        self.bulk, self.cursor = bulk, None

    def page(self, query: str = "") -> Any:
        cursor = f"&cursor={self.cursor}" if self.cursor else ""
        return self.bulk.client.get(f"{self.bulk.url}/changes?limit=500{query}{cursor}")

    def read(self, query: str = "") -> list[dict[str, Any]]:
        body = self.page(query).json()
        self.cursor = body["cursor"]
        results: list[dict[str, Any]] = body["results"]
        return results


def test_without_a_cursor_everything_comes_the_oldest_first(bulk):
    bulk.send(bulk.weighings(3))
    results = Reader(bulk).read()
    kinds = [result["kind"] for result in results]
    assert kinds == ["block", "row", *["vine"] * 12, *["dormant_record"] * 3]
    assert {result["operation"] for result in results} == {"stored"}


def test_with_the_cursor_only_what_came_since(bulk):
    reader = Reader(bulk)
    reader.read()
    assert reader.read() == []
    rows = bulk.weighings(2)
    bulk.send(rows)
    assert {result["id"] for result in reader.read()} == {row["id"] for row in rows}
    assert reader.read() == []


def test_every_kind_is_told_of_with_its_data(bulk):
    reader = Reader(bulk)
    reader.read()
    stored = {name: bulk.post(kind, bulk.new(kind)).json() for name, kind in KINDS.items()}
    told = {result["kind"]: result["data"] for result in reader.read()}
    for name in KINDS:
        assert told[name] == {member: stored[name][member] for member in told[name]}


def test_each_is_told_of_as_its_list_shows_it(bulk):
    for kind in KINDS.values():
        bulk.post(kind, bulk.new(kind))
    results = Reader(bulk).read()
    block = next(result["id"] for result in results if result["kind"] == "block")
    lists = {"block": "blocks", "row": f"blocks/{block}/rows", "vine": f"blocks/{block}/vines"}
    lists |= {name: kind.path for name, kind in KINDS.items()}
    for name, path in lists.items():
        listed = {row["id"]: row for row in bulk.client.get(f"{bulk.url}/{path}").json()["results"]}
        assert {result["id"]: result["data"] for result in results if result["kind"] == name} == listed


def test_a_change_and_a_withdrawal_come_as_what_they_are(bulk):
    reader = Reader(bulk)
    rows = bulk.weighings(2)
    bulk.send(rows)
    reader.read()
    one = f"{bulk.url}/dormant-records/{{}}"
    bulk.client.patch(one.format(rows[0]["id"]), {"nodes_retained": 40}, format="json", headers={"If-Match": "*"})
    bulk.client.delete(one.format(rows[1]["id"]), headers={"If-Match": "*"})
    told = {result["id"]: result for result in reader.read()}
    assert [(told[row["id"]]["operation"], told[row["id"]]["version"]) for row in rows] == [
        ("changed", 2),
        ("withdrawn", 2),
    ]
    assert told[rows[0]["id"]]["data"]["nodes_retained"] == 40
    assert told[rows[1]["id"]]["data"]["withdrawn_at"] is not None


def test_page_by_page_comes_the_same_as_at_once(bulk):
    bulk.send(bulk.weighings(8))
    whole = Reader(bulk).read()
    reader, pieces = Reader(bulk), []
    while True:
        cursor = f"&cursor={reader.cursor}" if reader.cursor else ""
        body = bulk.client.get(f"{bulk.url}/changes?limit=3{cursor}").json()
        pieces += body["results"]
        reader.cursor = body["cursor"]
        if not body["more"]:
            break
    assert pieces == whole


def test_a_row_that_a_slower_request_commits_later_is_not_skipped(bulk, cast):
    """The slow one wrote first; a feed by largest number, or by time, would go on behind the quick one and lose it."""
    reader = Reader(bulk)
    reader.read()
    slow_id, quick_id = uuid.uuid4(), uuid.uuid4()
    written, may_commit = threading.Event(), threading.Event()

    def slow() -> None:
        try:
            with transaction.atomic():
                _weigh(cast, bulk.vines[0], slow_id)
                written.set()
                may_commit.wait(20)
        finally:
            connection.close()

    thread = threading.Thread(target=slow)
    thread.start()
    assert written.wait(20)
    with transaction.atomic():
        _weigh(cast, bulk.vines[1], quick_id)
    meanwhile = {result["id"] for result in reader.read()}
    may_commit.set()
    thread.join(20)
    after = {result["id"] for result in reader.read()}
    assert str(slow_id) not in meanwhile
    assert {str(slow_id), str(quick_id)} <= meanwhile | after


def _weigh(cast: Any, vine: Any, row_id: uuid.UUID) -> None:
    from datetime import datetime

    enter(cast.worker.caller)
    opened = open_farm(cast.worker.caller, cast.farm.pk)
    when = datetime.fromisoformat("2027-01-16T10:02:00-05:00")
    record(opened, KINDS["dormant_record"], row_id, {"vine_id": vine.pk, "observed_at": when})


def test_only_the_kinds_that_were_asked_for_come_and_their_cursor_is_for_them_alone(bulk):
    bulk.send(bulk.weighings(2))
    reader = Reader(bulk)
    assert {result["kind"] for result in reader.read("&kinds=dormant_record")} == {"dormant_record"}
    other = reader.page("&kinds=vine")
    assert (other.status_code, other.json()["errors"][0]["code"]) == (400, "invalid_cursor")


@pytest.mark.parametrize(
    ("query", "code"),
    [("cursor=abc", "invalid_cursor"), ("kinds=dormant_recrod", "unknown_kind"), ("limit=0", "min_value")],
)
def test_a_wrong_parameter_is_named(query, code, bulk):
    answer = bulk.client.get(f"{bulk.url}/changes?{query}")
    assert (answer.status_code, answer.json()["errors"][0]["code"]) == (400, code)


def test_after_a_restore_an_old_cursor_is_refused_once_and_new_rows_lie_beyond_the_old(bulk):
    from vineyard.database_owner import as_owner

    reader = Reader(bulk)
    bulk.send(bulk.weighings(2))
    before = reader.read()
    with as_owner() as owner:
        after_restore(owner)
    try:
        refused = reader.page()
        assert (refused.status_code, refused.json()["code"]) == (410, "cursor_expired")
        reader.cursor = None
        assert reader.read() == before
        rows = [bulk.weighing(5)]
        bulk.send(rows)
        assert [result["id"] for result in reader.read()] == [rows[0]["id"]]
    finally:
        with as_owner() as owner, owner.cursor() as cursor:
            cursor.execute("DELETE FROM feed_epoch")
            cursor.execute(
                "CREATE OR REPLACE FUNCTION change_offset() RETURNS bigint LANGUAGE sql IMMUTABLE PARALLEL SAFE AS $$ SELECT 0::bigint $$"
            )


def test_another_farms_feed_has_nothing_of_this_one(bulk, cast):
    bulk.send(bulk.weighings(2))
    theirs = cast.stranger.client.get(f"/api/v1/farms/{cast.other_farm.pk}/changes").json()
    assert theirs["results"] == []
