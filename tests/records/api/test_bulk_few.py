"""Few lines go by a shorter way than many: the same is stored, and the same refused."""

from __future__ import annotations

import uuid
from typing import Any

import pytest

from records.api.bulk_bodies import Documents
from records.bulk.known_shapes import KNOWN_SHAPES, KnownShapes
from records.bulk.storing import Store
from records.kinds import KINDS
from records.services.recording import MODELS
from tests.records.yard import Bulk

pytestmark = pytest.mark.django_db
#: What differs between two records that say the same.
OF_ITS_OWN = {"id", "vine_id", "received_at", "changed_at", "change_position", "line_digest"}


@pytest.fixture
def bulk(cast) -> Bulk:
    return Bulk(cast)


@pytest.fixture
def copied(monkeypatch) -> list[int]:
    """How many lines went by the temporary table, each time."""
    numbers: list[int] = []
    insert = Store._insert_copied

    def counted(store: Store, statements: Any) -> None:
        numbers.append(1)
        insert(store, statements)

    monkeypatch.setattr(Store, "_insert_copied", counted)
    return numbers


def stored(bulk: Bulk, kind: Any, row_id: str) -> dict[str, Any]:
    row = MODELS[kind.name].objects.for_farm(uuid.UUID(bulk.url.rpartition("/")[2])).filter(pk=row_id).values().get()
    return {name: value for name, value in row.items() if name not in OF_ITS_OWN}


@pytest.mark.parametrize("kind", KINDS.values(), ids=lambda kind: kind.name)
def test_a_record_of_every_kind_is_stored_alike_both_ways(kind, bulk, copied, monkeypatch):
    vines = [{"vine": str(vine.pk)} if "vine" in bulk.new(kind) else {} for vine in bulk.vines]
    rows = [{"kind": kind.name, **bulk.new(kind), **vines[number]} for number in range(2)]
    assert bulk.statuses(bulk.send(rows[:1])) == ["created"]
    assert copied == []
    monkeypatch.setattr("records.bulk.storing.FEW", 0)
    assert bulk.statuses(bulk.send(rows[1:])) == ["created"]
    assert copied == [1]
    one, other = (stored(bulk, kind, row["id"]) for row in rows)
    assert one == other


@pytest.mark.parametrize("note", ["a \\ b", "a\\tb", "two\nlines", "a\ttab", "\\N", "{}", "é ‖ 樹", "'; --", '"'])
def test_a_note_is_kept_as_it_was_sent(note, bulk):
    row = bulk.weighing(0, note=note)
    assert bulk.statuses(bulk.send([row, bulk.weighing(1)])) == ["created", "created"]
    assert bulk.client.get(f"{bulk.url}/dormant-records/{row['id']}").json()["note"] == note


def test_a_line_that_breaks_a_rule_of_the_table_is_told_and_the_others_are_stored(bulk, copied):
    broken = bulk.weighing(1, pruning_weight={"value": 0.2, "unit": "kg"}, season=2020)
    good, taken = bulk.weighing(0), bulk.weighing(0)
    statuses = bulk.statuses(bulk.send([good, broken, taken, bulk.weighing(2)]))
    assert statuses.count("created") == 2 and statuses.count("error") == 2
    assert copied == []


def test_an_apps_next_request_has_no_line_read_the_careful_way(bulk, monkeypatch):
    read: list[Any] = []
    said = Documents.said

    def noted(documents: Documents, kind: Any, document: Any) -> Any:
        read.append(document)
        return said(documents, kind, document)

    monkeypatch.setattr(Documents, "said", noted)
    monkeypatch.setattr(KNOWN_SHAPES, "_of_kind", {})
    for number in range(3):
        assert bulk.statuses(bulk.send([bulk.weighing(number)])) == ["created"]
    assert len(read) == 1


def test_of_a_line_that_taught_its_shape_no_value_is_kept(bulk):
    known = KnownShapes()
    known.note(KINDS["dormant_record"], bulk.weighing(0, note="a secret", device="a phone", nodes_retained=None))
    kept = next(iter(known._of_kind["dormant_record"]))
    assert kept["pruning_weight"] == {"value": "", "unit": ""}
    assert {value for value in kept.values() if not isinstance(value, dict)} == {"", None}
