"""Many records at once: a result for each line, whatever its neighbours are; sent again, nothing new."""

from __future__ import annotations

import gzip
import json
import uuid
from typing import Any

import pytest

from records.api.kind_examples import NEW
from records.bulk.reading import KNOWN_VINES, Reader
from records.kinds import KINDS
from records.models import DormantRecord, RecordChange
from tests.records.yard import NDJSON, Bulk

pytestmark = pytest.mark.django_db


@pytest.fixture
def bulk(cast) -> Bulk:
    return Bulk(cast)


@pytest.fixture(params=["lines", "array"])
def sent(request, bulk) -> Any:
    return bulk.send if request.param == "lines" else bulk.send_array


def test_every_line_is_stored_and_answered_in_the_order_of_the_request(bulk, sent, cast):
    rows = bulk.weighings(8)
    answer = sent(rows)
    assert answer.status_code == 200, answer.json()
    assert answer.json()["summary"] == {"received": 8, "created": 8, "updated": 0, "unchanged": 0, "failed": 0}
    assert [result["id"] for result in answer.json()["results"]] == [row["id"] for row in rows]
    for row in rows:
        stored = bulk.client.get(f"{bulk.url}/dormant-records/{row['id']}").json()
        assert stored["pruning_weight"]["value"] == row["pruning_weight"]["value"]
        assert (stored["season"], stored["observed_offset_minutes"], stored["version"]) == (2027, -300, 1)
        assert stored["recorded_by"] == str(cast.worker.person.pk)


def test_kinds_may_be_mixed(bulk, sent):
    rows = [{"kind": name, **bulk.new(kind)} for name, kind in KINDS.items()]
    answer = sent(rows)
    assert set(bulk.statuses(answer)) == {"created"}, answer.json()
    for name, kind in KINDS.items():
        stored = bulk.client.get(f"{bulk.url}/{kind.path}").json()["results"]
        assert len(stored) == 1, name


def test_a_record_sent_singly_and_in_bulk_is_one_record(bulk, sent):
    for name, kind in KINDS.items():
        row = bulk.new(kind)
        assert bulk.post(kind, row).status_code == 201
        assert bulk.statuses(sent([{"kind": name, **row}])) == ["unchanged"]
    for name, kind in KINDS.items():
        bulk.client.delete(
            bulk.at(kind, bulk.client.get(f"{bulk.url}/{kind.path}").json()["results"][0]), headers={"If-Match": "*"}
        )
        row = bulk.new(kind)
        assert bulk.statuses(sent([{"kind": name, **row}])) == ["created"]
        assert bulk.post(kind, row).status_code == 200


def test_sent_again_every_line_is_unchanged_and_no_row_is_written(bulk, sent, cast):
    rows = bulk.weighings(8)
    sent(rows)
    before = list(DormantRecord.objects.for_farm(cast.farm).order_by("id").values())
    again = sent(rows)
    assert bulk.statuses(again) == ["unchanged"] * 8
    assert list(DormantRecord.objects.for_farm(cast.farm).order_by("id").values()) == before
    assert not RecordChange.objects.for_farm(cast.farm).filter(entity="dormant_record").exists()


def test_sent_again_after_a_correction_it_is_unchanged_at_the_corrected_version(bulk, sent):
    rows = bulk.weighings(2)
    sent(rows)
    bulk.client.patch(
        f"{bulk.url}/dormant-records/{rows[0]['id']}", {"nodes_retained": 40}, format="json", headers={"If-Match": "*"}
    )
    results = sent(rows).json()["results"]
    assert [(result["status"], result["version"]) for result in results] == [("unchanged", 2), ("unchanged", 1)]


def test_written_in_another_way_the_same_content_is_the_same_record(bulk):
    row = bulk.weighing(0, pruning_weight={"value": 2.80, "unit": "[lb_av]"})
    bulk.send([row])
    other = {**row, "pruning_weight": {"unit": "lb", "value": "2.8"}, "observed_at": "2027-01-16T15:02:00Z"}
    assert bulk.statuses(bulk.send([other])) == ["unchanged"]


WRONG_LINES = [
    (b"not json", 400, "malformed_json", None),
    (b"[1]", 400, "validation_error", "#/1"),
    (b'{"kind": "dormant_record", "id": 1}', 400, "validation_error", "#/1/id"),
    (b'{"kind": "weighing"}', 400, "validation_error", "#/1/kind"),
    (b'{"kind": "shoot_count", "kind": "shoot_count"}', 400, "validation_error", "#/1/kind"),
    (b'{"kind": "shoot_count", "wieght": 1, "vine": "VINE", "observed_at": "2027-05-20T09:15:00-04:00"}', 400, "validation_error", "#/1/wieght"),
    (b'{"kind": "shoot_count", "vine": "VINE", "observed_at": "2027-05-20T09:15:00"}', 400, "validation_error", "#/1/observed_at"),
    (b'{"kind": "shoot_count", "vine": "00000000-0000-7000-8000-000000000000", "observed_at": "2027-05-20T09:15:00-04:00"}', 422, "not_valid", "#/1/vine"),
    (b'{"kind": "dormant_record", "vine": "VINE", "observed_at": "2027-01-16T10:02:00-05:00", "pruning_weight": {"value": 51, "unit": "kg"}}', 422, "not_valid", "#/1/pruning_weight"),
    (b'{"kind": "cluster_count", "vine": "VINE", "observed_at": "2027-08-02T08:40:00-04:00", "clusters_before_thinning": 1, "clusters_after_thinning": 2}', 422, "not_valid", "#/1/clusters_after_thinning"),
    (b'{"kind": "harvest_record", "vine": "VINE", "observed_at": "2027-12-20T08:40:00-05:00", "scope": "vine"}', 422, "not_valid", "#/1/season"),
    (b'{"kind": "bud_sample", "observed_at": "2027-02-20T08:40:00-05:00", "nodes_examined": 5}', 400, "validation_error", "#/1/vine"),
    (b'{"kind": "shoot_count", "note": "' + b"x" * 17_000 + b'"}', 400, "malformed_json", None),
    (b'{"kind": "shoot_count", "note": "\xff"}', 400, "malformed_json", None),
    (b'{"a":' * 40 + b"1" + b"}" * 40, 400, "malformed_json", None),
]  # fmt: skip


@pytest.mark.parametrize(("line", "status", "code", "where"), WRONG_LINES)
def test_a_wrong_line_is_named_and_its_neighbours_are_stored(line, status, code, where, bulk):
    good = [json.dumps(row).encode() for row in bulk.weighings(4)[2:]]
    line = line.replace(b"VINE", str(bulk.vines[1].pk).encode())
    answer = bulk.send(b"\n".join([good[0], line, good[1]]))
    assert answer.status_code == 207
    assert bulk.statuses(answer) == ["created", "error", "created"]
    error = answer.json()["results"][1]["error"]
    assert (error["status"], error["code"]) == (status, code)
    assert error["detail"]
    if where:
        assert where in [each["pointer"] for each in error["errors"]], error


def test_one_id_in_very_many_lines_is_stored_so_often_and_refused_from_then_on(bulk):
    row = bulk.weighing(0)
    lines = [{**row, "nodes_retained": 1 + number} for number in range(1_100)]
    answer = bulk.send(lines, "?on_conflict=update")
    statuses = bulk.statuses(answer)
    assert statuses == ["created", *["updated"] * 49, *["error"] * 1_050]
    error = answer.json()["results"][-1]["error"]
    assert (error["status"], error["errors"][0]["pointer"]) == (422, "#/1099/id")
    assert bulk.client.get(f"{bulk.url}/dormant-records/{row['id']}").json()["nodes_retained"] == 50


def test_many_lines_that_break_rules_of_the_table_are_each_named(bulk):
    rows = [
        {
            **NEW["cluster_count"],
            "kind": "cluster_count",
            "id": str(uuid.uuid4()),
            "vine": str(vine.pk),
            "clusters_after_thinning": 50 + 10 * number,
        }
        for number, vine in enumerate(bulk.vines)
    ]
    answer = bulk.send(rows)
    assert bulk.statuses(answer) == ["created"] * 4 + ["error"] * 8
    assert {result["error"]["errors"][0]["code"] for result in answer.json()["results"][4:]} == {"more_than_before"}


def test_an_id_with_other_content_is_a_conflict_that_shows_what_stands_there(bulk, sent):
    rows = bulk.weighings(3)
    sent(rows)
    answer = sent([{**rows[0], "nodes_retained": 40}, *rows[1:]])
    assert bulk.statuses(answer) == ["error", "unchanged", "unchanged"]
    error = answer.json()["results"][0]["error"]
    assert (error["status"], error["code"], error["current"]["nodes_retained"]) == (409, "id_in_use", None)


def test_with_ignore_what_stands_is_kept(bulk, sent):
    rows = bulk.weighings(2)
    sent(rows)
    assert bulk.statuses(sent([{**rows[0], "nodes_retained": 40}, rows[1]], "?on_conflict=ignore")) == ["unchanged"] * 2
    assert bulk.client.get(f"{bulk.url}/dormant-records/{rows[0]['id']}").json()["nodes_retained"] is None


def test_with_update_a_new_version_is_made_and_the_old_one_kept(bulk, sent):
    rows = bulk.weighings(3)
    sent(rows)
    answer = sent([{**rows[0], "nodes_retained": 40}, rows[1], bulk.weighing(4)], "?on_conflict=update")
    assert [(result["status"], result["version"]) for result in answer.json()["results"]] == [
        ("updated", 2), ("unchanged", 1), ("created", 1),
    ]  # fmt: skip
    one = f"{bulk.url}/dormant-records/{rows[0]['id']}"
    assert bulk.client.get(one).json()["nodes_retained"] == 40
    assert bulk.client.get(f"{one}/versions").json()["results"][0]["record"]["nodes_retained"] is None


def test_with_a_base_version_only_that_version_is_updated(bulk, sent):
    rows = bulk.weighings(2)
    sent(rows)
    bulk.client.patch(
        f"{bulk.url}/dormant-records/{rows[0]['id']}", {"nodes_retained": 44}, format="json", headers={"If-Match": "*"}
    )
    changes = [{**row, "nodes_retained": 40, "base_version": 1} for row in rows]
    answer = sent(changes, "?on_conflict=update")
    assert bulk.statuses(answer) == ["error", "updated"]
    error = answer.json()["results"][0]["error"]
    assert (error["status"], error["code"], error["current"]["nodes_retained"]) == (412, "stale", 44)


def test_a_withdrawn_record_is_not_brought_back(bulk, sent):
    rows = bulk.weighings(2)
    sent(rows)
    bulk.client.delete(f"{bulk.url}/dormant-records/{rows[0]['id']}", headers={"If-Match": "*"})
    for query in ("", "?on_conflict=update", "?on_conflict=ignore"):
        answer = sent(rows, query)
        assert bulk.statuses(answer) == ["error", "unchanged"]
        assert answer.json()["results"][0]["error"]["code"] == "withdrawn"


def test_a_place_that_another_record_holds_is_a_conflict(bulk, sent):
    sent(bulk.weighings(1))
    answer = sent(bulk.weighings(2))
    assert bulk.statuses(answer) == ["error", "created"]
    assert answer.json()["results"][0]["error"]["code"] == "already_recorded"


def test_one_id_twice_in_a_request_is_one_record(bulk, sent):
    row = bulk.weighing(0)
    answer = sent([row, row, {**row, "nodes_retained": 40}])
    assert bulk.statuses(answer) == ["created", "unchanged", "error"]


def test_atomic_stores_all_or_none(bulk, sent):
    rows = [*bulk.weighings(3), {"kind": "shoot_count", "vine": str(bulk.vines[0].pk)}]
    answer = sent(rows, "?atomic=true")
    assert answer.status_code == 422
    assert "#/3/observed_at" in [error["pointer"] for error in answer.json()["errors"]]
    assert bulk.client.get(f"{bulk.url}/dormant-records").json()["results"] == []
    assert bulk.statuses(sent(rows[:3], "?atomic=true")) == ["created"] * 3


def test_with_prefer_minimal_only_what_failed_is_answered(bulk):
    answer = bulk.send([bulk.weighing(0), {"kind": "shoot_count"}], Prefer="return=minimal")
    assert [result["index"] for result in answer.json()["results"]] == [1]
    assert answer["Preference-Applied"] == "return=minimal"


def test_a_line_without_an_id_gets_one(bulk, sent):
    row = bulk.weighing(0)
    del row["id"]
    result = sent([row]).json()["results"][0]
    assert bulk.client.get(f"{bulk.url}/dormant-records/{result['id']}").status_code == 200


def test_an_empty_request_stores_nothing(bulk):
    for answer in (bulk.send(b"\n \n"), bulk.send_array([])):
        assert (answer.status_code, answer.json()["summary"]["received"]) == (200, 0)


def test_as_many_queries_for_a_thousand_lines_as_for_ten(bulk, django_assert_max_num_queries):
    with django_assert_max_num_queries(40):
        bulk.send(bulk.weighings(12))


@pytest.mark.parametrize(
    ("query", "parameter"),
    [("?atomic=1", "atomic"), ("?on_conflict=replace", "on_conflict"), ("?atomci=true", "atomci")],
)
def test_an_unknown_way_is_refused_with_its_parameter(query, parameter, bulk):
    answer = bulk.send(bulk.weighings(1), query)
    assert (answer.status_code, answer.json()["errors"][0]["parameter"]) == (400, parameter)


def test_a_body_that_is_no_list_is_refused(bulk):
    assert bulk.send_array({"kind": "shoot_count"}).status_code == 400


def test_too_many_records_are_refused_with_the_limit(bulk):
    answer = bulk.send_array([{}] * 5_001)
    assert (answer.status_code, answer.json()["errors"][0]["code"]) == (422, "too_many_lines")


def test_lines_may_come_compressed(bulk):
    rows = bulk.weighings(4)
    answer = bulk.send(gzip.compress("\n".join(map(json.dumps, rows)).encode()), **{"Content-Encoding": "gzip"})
    assert bulk.statuses(answer) == ["created"] * 4


WHOLE = gzip.compress(b'{"kind": "shoot_count"}')


@pytest.mark.parametrize(
    ("body", "status"),
    [(gzip.compress(b" " * 60_000_000), 413), (b"not gzip", 400), (WHOLE[:-4], 400), (WHOLE + b"more", 400)],
    ids=["bomb", "not gzip", "cut off", "goes on"],
)
def test_a_bomb_and_a_broken_body_are_refused_without_being_inflated(body, status, bulk):
    answer = bulk.send(body, **{"Content-Encoding": "gzip"})
    assert (answer.status_code, answer["Content-Type"]) == (status, "application/problem+json")


def test_a_bomb_is_refused_with_the_size_that_may_not_be_passed(bulk):
    answer = bulk.send(gzip.compress(b" " * 60_000_000), **{"Content-Encoding": "gzip"})
    assert "bytes" in answer.json()["detail"]


@pytest.mark.parametrize(
    ("encoding", "content_type"),
    [("br", NDJSON), ("deflate", NDJSON), ("gzip, gzip", NDJSON), ("gzip", "application/json")],
)
def test_any_other_compression_is_refused(encoding, content_type, bulk):
    answer = bulk.client.post(
        f"{bulk.url}/records", WHOLE, content_type=content_type, headers={"Content-Encoding": encoding}
    )
    assert answer.status_code == 415


def table(bulk, *lines: str) -> str:
    name = bulk.block.name
    return "\n".join(
        ["block,row,vine,observed_at,pruning_weight,pruning_weight_unit", *(line.format(block=name) for line in lines)]
    )


def test_a_table_of_one_kind_is_taken_in_with_a_result_for_each_line(bulk):
    content = table(bulk, "{block},1,1,2027-01-16T10:02:00-05:00,2.8,lb", "{block},1,99,2027-01-16T10:02:00-05:00,2.8,lb",
                    "{block},1,2,2027-01-16T10:02:00-05:00,heavy,lb", "{block},1,3,2027-01-16T10:02:00-05:00,,")  # fmt: skip
    send = lambda: bulk.client.post(f"{bulk.url}/records?kind=dormant_record", content, content_type="text/csv")  # noqa: E731
    answer = send()
    assert bulk.statuses(answer) == ["created", "error", "error", "created"], answer.json()
    errors = [result["error"]["errors"][0] for result in answer.json()["results"] if result["status"] == "error"]
    assert next((error["pointer"], error["code"]) for error in errors) == ("#/1/vine", "no_such_vine")
    assert errors[1]["pointer"].startswith("#/2/pruning_weight")
    assert bulk.statuses(send()) == ["unchanged", "error", "error", "unchanged"]


def test_a_table_needs_its_kind_and_known_headings(bulk):
    unsaid = bulk.client.post(f"{bulk.url}/records", table(bulk), content_type="text/csv")
    assert (unsaid.status_code, unsaid.json()["errors"][0]["parameter"]) == (400, "kind")
    unknown = bulk.client.post(f"{bulk.url}/records?kind=shoot_count", table(bulk, "x"), content_type="text/csv")
    assert unknown.status_code == 422


def test_lines_of_a_kind_that_the_address_names_need_none_of_their_own(bulk, sent):
    row = bulk.weighing(0)
    del row["kind"]
    assert bulk.statuses(sent([row], "?kind=dormant_record")) == ["created"]


def test_a_request_finds_its_vines_though_the_process_forgets_them_meanwhile(bulk, sent, monkeypatch):
    look_up = Reader.look_up

    def after_forgetting(reader: Reader, named: Any) -> None:
        KNOWN_VINES.forget()
        look_up(reader, named)

    monkeypatch.setattr(Reader, "look_up", after_forgetting)
    assert bulk.statuses(sent(bulk.weighings(3))) == ["created"] * 3
