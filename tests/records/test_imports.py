"""Files of vines: good lines in, every doubtful value named, nothing lost, safe to repeat."""

from __future__ import annotations

import json
from decimal import Decimal
from pathlib import Path
from typing import Any
from uuid import UUID

import pytest
from django.db import connection

from records.access import enter, open_farm
from records.models import DormantRecord, ImportRow, JobTicket, RecordChange, Vine
from records.services import jobs

pytestmark = pytest.mark.django_db
COOMBE = Path(__file__).resolve().parents[3] / "shared" / "data" / "coombe2019.csv"
CSV = "text/csv"


@pytest.fixture
def desk(cast):
    """A farm, and a way to send it files and have a worker carry them out."""
    cast.url = f"/api/v1/farms/{cast.farm.pk}"
    return cast


def send(desk: Any, content: str | bytes, query: str = "block=Lower&season=2027&map=plain") -> Any:
    answer = desk.worker.client.post(f"{desk.url}/imports?{query}", content, content_type=CSV)
    if answer.status_code == 202:
        jobs.run(desk.farm.pk, UUID(answer.json()["job"]["id"]))
        enter(desk.worker.caller)
        open_farm(desk.worker.caller, desk.farm.pk)
    return answer


def lines(desk: Any, answer: Any, query: str = "") -> list[dict[str, Any]]:
    address: str | None = f"{desk.url}/imports/{answer.json()['import']['id']}/rows?limit=500{query}"
    found: list[dict[str, Any]] = []
    while address:
        page = desk.viewer.client.get(address).json()
        found += page["results"]
        address = page["next"]
    return found


def findings(desk: Any, answer: Any) -> list[tuple[int, str, str, str]]:
    return [
        (each["line"], each["column"], each["value"], each["code"])
        for line in lines(desk, answer)
        for each in line["findings"]
    ]


def stored(desk: Any) -> tuple[Any, ...]:
    records = DormantRecord.objects.for_farm(desk.farm)
    changes = RecordChange.objects.for_farm(desk.farm).exclude(entity="membership")
    vines = Vine.objects.for_farm(desk.farm)
    return (
        sorted(records.values_list("id", "version", "pruning_weight_kg")),
        sorted(vines.values_list("id", "version")),
        changes.count(),
        ImportRow.objects.for_farm(desk.farm).count(),
    )


@pytest.fixture
def real_vineyard(desk):
    if not COOMBE.exists():
        pytest.skip("the open data lies beside the project, in ../shared/data, and is not there")
    desk.answer = send(desk, COOMBE.read_bytes(), "")
    return desk


def test_the_real_vineyard_comes_in_whole_with_every_fault_named(real_vineyard):
    """352 lines; 30 totals that do not add up, 3 missing weights, 33 trunks that shrink, cordons of 23 and 62.9 cm."""
    found = findings(real_vineyard, real_vineyard.answer)
    by_code: dict[str, int] = {}
    for _, _, _, code in found:
        by_code[code] = by_code.get(code, 0) + 1
    assert by_code == {"sum_does_not_add_up": 30, "not_weighed": 3, "less_than_before": 33, "far_below_the_median": 2}
    assert (12, "total_shoots", "3", "sum_does_not_add_up") in found
    assert {value for _, _, value, code in found if code == "far_below_the_median"} == {"23.0", "62.9"}
    assert len(lines(real_vineyard, real_vineyard.answer)) == 352


def test_the_real_vineyards_statistics_are_the_published_ones_and_349_targets_come_out(real_vineyard):
    block = f"{real_vineyard.url}/blocks/{real_vineyard.answer.json()['import']['block']}"
    said = real_vineyard.viewer.client.get(f"{block}/statistics?season=2019").json()
    assert (said["n"], said["missing"]) == (349, 3)
    assert (round(said["mean"], 3), round(said["standard_deviation"], 3)) == (2.681, 0.926)
    assert round(said["coefficient_of_variation"], 1) == 34.5
    assert real_vineyard.viewer.client.get(f"{block}/targets").json()["with_target"] == 349


def test_the_same_file_again_changes_nothing(real_vineyard):
    before = stored(real_vineyard)
    again = send(real_vineyard, COOMBE.read_bytes(), "")
    assert again.json()["import"]["id"] == real_vineyard.answer.json()["import"]["id"]
    assert stored(real_vineyard) == before


def test_the_same_lines_in_another_file_are_known_one_by_one(real_vineyard):
    before = stored(real_vineyard)
    again = send(real_vineyard, COOMBE.read_bytes() + b"\n", "")
    assert {line["outcome"] for line in lines(real_vineyard, again)} == {"unchanged"}
    assert stored(real_vineyard)[:3] == before[:3]


def test_every_line_is_kept_as_sent_whatever_became_of_it(desk):
    answer = send(desk, 'row,vine,pruning_weight\n1,1,"1,2"\nx,2,1.0\n1,3,1.5,extra\n')
    assert [line["values"] for line in lines(desk, answer)] == [
        {"row": "1", "vine": "1", "pruning_weight": "1,2"},
        {"row": "x", "vine": "2", "pruning_weight": "1.0"},
        {"row": "1", "vine": "3", "pruning_weight": "1.5", "": ["extra"]},
    ]


@pytest.mark.parametrize(
    ("line", "column", "value", "code", "outcome"),
    [
        ("1,1,", "pruning_weight", "", "not_weighed", "created"),
        ("1,1,NA", "pruning_weight", "NA", "not_weighed", "created"),
        ("1,1,1.2kg", "pruning_weight", "1.2kg", "not_a_number", "created"),
        ('1,1,"3,9"', "pruning_weight", "3,9", "not_a_number", "created"),
        ("1,1,nan", "pruning_weight", "nan", "not_a_number", "created"),
        ("1,1,-1", "pruning_weight", "-1", "out_of_range", "created"),
        ("1,1,2800", "pruning_weight", "2800", "out_of_range", "created"),
        ("1,1,1.00000000000001", "pruning_weight", "1.00000000000001", "too_many_digits", "created"),
        ("first,1,1.2", "row", "first", "not_a_whole_number", "not_stored"),
        ("1,0,1.2", "vine", "0", "not_a_whole_number", "not_stored"),
        ("1,1.5,1.2", "vine", "1.5", "not_a_whole_number", "not_stored"),
        ("1,1", "pruning_weight", "", "ragged_line", "created"),
    ],
)
def test_a_doubtful_value_is_named_with_line_column_and_reason(line, column, value, code, outcome, desk):
    answer = send(desk, f"row,vine,pruning_weight\n{line}\n1,9,1.5\n")
    assert (2, column, value, code) in findings(desk, answer)
    assert [each["outcome"] for each in lines(desk, answer)] == [outcome, "created"]
    assert DormantRecord.objects.for_farm(desk.farm).filter(imported_line=3).exists()


def test_a_vine_that_stands_twice_in_the_file_is_stored_once_and_both_lines_are_named(desk):
    answer = send(desk, "row,vine,pruning_weight\n1,1,1.2\n1,1,1.4\n")
    finding = lines(desk, answer)[1]["findings"][0]
    assert (finding["code"], "line 2 is about the same vine" in finding["reason"]) == ("vine_twice", True)
    assert DormantRecord.objects.for_farm(desk.farm).count() == 1


def test_a_weight_on_record_stands_against_another_in_a_file(desk):
    send(desk, "row,vine,pruning_weight\n1,1,1.2\n")
    answer = send(desk, "row,vine,pruning_weight\n1,1,1.4\n")
    assert [line["outcome"] for line in lines(desk, answer)] == ["not_stored"]
    assert findings(desk, answer) == [(2, "pruning_weight", "1.4", "already_recorded")]


@pytest.mark.parametrize("content", ["row;vine;pruning_weight\n1;1;3,9\n", "row\tvine\tpruning_weight\n1\t1\t3.9\n",
                                     "\ufeffrow,vine,pruning_weight\r\n1,1,3.9\r\n", "row,vine,pruning_weight\n1,1,3.90"])  # fmt: skip
def test_the_usual_spreadsheets_ways_of_writing_csv_are_read(content, desk):
    send(desk, content)
    assert DormantRecord.objects.for_farm(desk.farm).get().pruning_weight_kg == pytest.approx(Decimal("3.9"))


@pytest.mark.parametrize(
    ("content", "words"),
    [
        (b"", "The file is empty"),
        (b"row,vine,pruning_weight\n1,1,\xff\n", "Line 2 is not UTF-8"),
        (b"row,row\n1,1\n", "'row' stands twice in line 1"),
        (b"row,vine,pruning_weight\n1,1,\x00\n", "Line 2 holds a null character"),
        (b'row,vine,pruning_weight\n1,1,"2\n', "cannot be read as CSV"),
        (b"row,vine,pruning_weight\n1,1," + b"9" * 17_000, "Line 2 has 17,004 characters"),
        (b"row,vine,pruning_weight\n" + b"1,1,1\n" * 20_001, "more than 20,000 vines"),
        (b"a,b\n1,2\n", "The file has no heading"),
    ],
)
def test_a_file_that_cannot_be_read_is_refused_with_the_line_and_the_way_out(content, words, desk):
    answer = send(desk, content)
    assert answer.status_code == 422
    assert words in answer.json()["detail"]


def test_headings_that_no_map_fits_are_answered_with_the_nearest_maps_lack(desk):
    answer = send(desk, "row,plant,weight\n1,1,1\n", "")
    assert answer.status_code == 422
    assert "The nearest is 'plain', which also needs pruning_weight, vine" in answer.json()["detail"]


def test_a_map_of_ones_own_may_come_with_the_file_in_a_form(desk):
    from django.core.files.uploadedfile import SimpleUploadedFile

    told = {"headings": {"row": "R", "place": "P", "pruning_weight": "lb"}, "pruning_weight_unit": "lb"}
    file = SimpleUploadedFile("mine.csv", b"R,P,lb\n1,1,2.8\n", content_type=CSV)
    form = {"file": file, "map": json.dumps(told), "block": "Lower", "season": "2027"}
    answer = desk.worker.client.post(f"{desk.url}/imports", form, format="multipart")
    assert answer.status_code == 202, answer.content
    assert answer.json()["import"]["file_name"] == "mine.csv"


@pytest.mark.parametrize(
    "told", ["{", "[]", '{"headings": {"row": "r", "moon": "m"}}', '{"headings": {"row": "r"}, "colour": 1}',
             '{"headings": {"row": "r"}, "pruning_weight_unit": "ton"}', '{"headings": {"row": "r"}, "checks": [{"kind": "guess"}]}', "no-such-map"],
)  # fmt: skip
def test_a_map_that_says_nothing_clear_is_refused_and_named(told, desk):
    from django.core.files.uploadedfile import SimpleUploadedFile

    file = SimpleUploadedFile("mine.csv", b"r\n1\n", content_type=CSV)
    answer = desk.worker.client.post(
        f"{desk.url}/imports", {"file": file, "map": told, "season": "2027"}, format="multipart"
    )
    assert answer.status_code == 422, answer.content
    assert answer.json()["errors"][0]["pointer"] == "#/map"


def test_a_thousand_lines_take_as_many_queries_as_ten(desk):
    from django.test.utils import CaptureQueriesContext

    counts = []
    for block, vines in (("Small", 10), ("Large", 400)):
        content = "row,vine,pruning_weight\n" + "".join(f"1,{place},1.5\n" for place in range(1, vines + 1))
        with CaptureQueriesContext(
            connection,
        ) as queries:
            send(desk, content, f"block={block}&season=2027&map=plain")
        counts.append(len(queries))
    assert counts[1] <= counts[0]


def test_a_job_taken_up_by_two_workers_has_one_effect(desk):
    answer = desk.worker.client.post(
        f"{desk.url}/imports?block=Lower&season=2027&map=plain", "row,vine,pruning_weight\n1,1,1\n", content_type=CSV
    )
    job = UUID(answer.json()["job"]["id"])
    for _ in range(10):
        jobs.run(desk.farm.pk, job)
    told = desk.viewer.client.get(f"{desk.url}/jobs/{job}").json()
    assert (told["state"], told["attempts"], told["progress_done"], told["progress_total"]) == ("succeeded", 1, 1, 1)
    assert not JobTicket.objects.exists()


def test_a_job_whose_worker_died_is_taken_up_again_when_its_lease_runs_out(desk, monkeypatch):
    from datetime import timedelta

    from django.db.models.functions import Now

    answer = desk.worker.client.post(
        f"{desk.url}/imports?block=Lower&season=2027&map=plain", "row,vine,pruning_weight\n1,1,1\n", content_type=CSV
    )
    job = UUID(answer.json()["job"]["id"])
    assert jobs._take_up(desk.farm.pk, job) == "import_vines"  # and the worker dies here
    jobs.run(desk.farm.pk, job)
    assert desk.viewer.client.get(f"{desk.url}/jobs/{job}").json()["state"] == "running"
    JobTicket.objects.update(leased_until=Now() - timedelta(seconds=1))
    assert jobs.sweep() == 1
    jobs.run(desk.farm.pk, job)
    told = desk.viewer.client.get(f"{desk.url}/jobs/{job}").json()
    assert (told["state"], told["attempts"]) == ("succeeded", 2)


def test_a_job_that_ends_its_worker_three_times_is_failed_with_a_reason(desk):
    from datetime import timedelta

    from django.db.models.functions import Now

    answer = desk.worker.client.post(
        f"{desk.url}/imports?block=Lower&season=2027&map=plain", "row,vine,pruning_weight\n1,1,1\n", content_type=CSV
    )
    job = UUID(answer.json()["job"]["id"])
    for _ in range(4):
        jobs._take_up(desk.farm.pk, job)
        JobTicket.objects.update(leased_until=Now() - timedelta(seconds=1))
    told = desk.viewer.client.get(f"{desk.url}/jobs/{job}").json()
    assert (told["state"], "3 times" in told["failure"]) == ("failed", True)
    again = send(desk, "row,vine,pruning_weight\n1,1,1\n")
    assert again.json()["job"]["id"] != str(job)
    assert lines(desk, again)[0]["outcome"] == "created"


def test_with_the_broker_away_asking_is_answered_and_the_job_waits_for_the_sweeper(
    desk, django_capture_on_commit_callbacks
):
    import time

    from vineyard.celery import app

    before = app.conf.broker_write_url, app.conf.broker_read_url
    began = time.monotonic()
    from celery import current_app

    pool = current_app.amqp.producer_pool
    with django_capture_on_commit_callbacks(execute=True):
        current_app.amqp._producer_pool, current_app.conf.broker_write_url = None, "redis://127.0.0.1:1/0"
        try:
            answer = desk.worker.client.post(
                f"{desk.url}/imports?block=Lower&season=2027&map=plain",
                "row,vine,pruning_weight\n1,1,1\n",
                content_type=CSV,
            )
        finally:
            current_app.conf.broker_write_url, _ = before
            current_app.amqp._producer_pool = pool
    assert answer.status_code == 202
    assert time.monotonic() - began < 2
    assert JobTicket.objects.count() == 1
