"""Lines that were sent before are known by their bytes and not read again; what is not known for certain is read."""

from __future__ import annotations

import pytest

from records.bulk.reading import Reader
from records.kinds import KINDS
from tests.records.yard import Bulk

pytestmark = pytest.mark.django_db


@pytest.fixture
def bulk(cast) -> Bulk:
    return Bulk(cast)


@pytest.fixture
def read(monkeypatch) -> list[int]:
    """The numbers of the lines that are read, in order."""
    numbers: list[int] = []
    reading = Reader.read

    def counted(reader, lines):
        lines = list(lines)
        numbers.extend(number for number, _ in lines)
        return reading(reader, lines)

    monkeypatch.setattr(Reader, "read", counted)
    return numbers


def test_what_is_on_record_as_it_was_sent_is_not_read_again(bulk, read):
    rows = [{"kind": name, **bulk.new(kind)} for name, kind in KINDS.items()]
    assert set(bulk.statuses(bulk.send(rows))) == {"created"}
    read.clear()
    answer = bulk.send(rows)
    assert bulk.statuses(answer) == ["unchanged"] * len(rows)
    assert [result["id"] for result in answer.json()["results"]] == [row["id"] for row in rows]
    assert read == []


def test_lines_that_are_new_or_say_something_else_are_read_among_those_that_are_known(bulk, read):
    known, other, withdrawn, new = bulk.weighings(4)
    bulk.send([known, other, withdrawn])
    bulk.client.delete(f"{bulk.url}/dormant-records/{withdrawn['id']}", headers={"If-Match": "*"})
    read.clear()
    answer = bulk.send([new, {**other, "nodes_retained": 7}, known, withdrawn])
    assert bulk.statuses(answer) == ["created", "error", "unchanged", "error"]
    codes = [result.get("error", {}).get("code") for result in answer.json()["results"]]
    assert codes == [None, "id_in_use", None, "withdrawn"]
    assert sorted(read) == [0, 1, 3]


def test_where_the_last_line_counts_every_line_is_read(bulk, read):
    row = bulk.weighing(0, nodes_retained=30)
    bulk.send([row])
    read.clear()
    answer = bulk.send([{**row, "nodes_retained": 31}, row], "?on_conflict=update")
    assert bulk.statuses(answer) == ["updated", "updated"]
    assert read == [0, 1]
    assert bulk.client.get(f"{bulk.url}/dormant-records/{row['id']}").json()["nodes_retained"] == 30
