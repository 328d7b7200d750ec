"""Receivers are told that season summaries changed: soon, not too often, never in vain, and never not at all."""

from __future__ import annotations

import threading
import uuid
from typing import Any

import pytest
from django.db import connection, transaction
from standardwebhooks import Webhook

from balance.models import WebhookEndpoint
from records.access import open_for_work
from records.kinds import KINDS
from records.kinds.definitions import DORMANT_RECORD, HARVEST_RECORD
from records.models import JobTicket
from records.services import jobs
from tests.balance.cordons.test_cases import Cases
from tests.balance.reports.listening import Listening, going_wrong
from tests.balance.reports.receiver import let_in
from tests.records.yard import Bulk

pytestmark = pytest.mark.django_db(transaction=True)
EVENT, KIND = "season_summary.changed", "tell_summary_changes"


@pytest.fixture
def receiver(tmp_path, settings):
    with let_in(tmp_path, settings) as receiver:
        yield receiver


@pytest.fixture
def farm(cast, receiver) -> Listening:
    return Listening(cast, receiver)


@pytest.fixture
def bulk(cast) -> Bulk:
    with transaction.atomic():
        return Bulk(cast)


def weigh(bulk: Bulk, place: int = 1, **more: Any) -> dict[str, Any]:
    sent = bulk.new(DORMANT_RECORD, vine=str(bulk.vines[place - 1].pk), **more)
    answer = bulk.post(DORMANT_RECORD, sent)
    assert answer.status_code == 201, answer.json()
    stored: dict[str, Any] = answer.json()
    return stored


def seasons_told(farm: Listening) -> list[list[int]]:
    return [message["data"]["seasons"] for message in farm.told()]


def test_a_weighing_is_told_five_minutes_later_in_a_signed_message_without_figures(farm, bulk, receiver):
    endpoint = farm.listen(EVENT)
    weigh(bulk)
    farm.minutes_pass(4.9)
    assert farm.carry_out_what_is_due(KIND) == 0
    farm.minutes_pass(0.2)
    assert farm.carry_out_what_is_due(KIND) == 1
    farm.told()
    (message,) = receiver.received
    said = Webhook(endpoint["secret"]).verify(message.body, message.headers)
    assert said["type"] == EVENT
    assert said["data"] == {"farm": str(farm.farm.pk), "seasons": [2027]}


def test_the_season_before_is_told_too_where_the_prunings_are_the_other_side_of_its_crop(farm, bulk):
    told = {"vine": str(bulk.vines[0].pk), "block": ..., "scope": "vine", "season": 2026}
    picked = bulk.new(HARVEST_RECORD, observed_at="2026-09-20T10:00:00-04:00", **told)
    stored = bulk.post(HARVEST_RECORD, picked)
    assert stored.status_code == 201, stored.json()
    farm.listen(EVENT)
    weigh(bulk)
    farm.minutes_pass(6)
    farm.carry_out_what_is_due(KIND)
    assert seasons_told(farm) == [[2026, 2027]]


def test_any_number_of_changes_in_the_meantime_is_one_job_and_one_message(farm, bulk):
    farm.listen(EVENT)
    for place in range(1, 6):
        weigh(bulk, place)
    bulk.send(bulk.weighings(12)[6:])
    farm.minutes_pass(6)
    assert farm.carry_out_what_is_due(KIND) == 1
    assert seasons_told(farm) == [[2027]]


def test_a_change_after_the_message_brings_another_but_not_within_five_minutes(farm, bulk):
    farm.listen(EVENT)
    weigh(bulk, 1)
    farm.minutes_pass(6)
    farm.carry_out_what_is_due(KIND)
    weigh(bulk, 2)
    ((job, _),) = farm.alarms(KIND)
    JobTicket.objects.filter(job_id=job).update(leased_until="2020-01-01T00:00:00Z")  # as if it were due at once
    assert farm.carry_out_what_is_due(KIND) == 1
    assert len(seasons_told(farm)) == 1
    farm.minutes_pass(6)
    assert farm.carry_out_what_is_due(KIND) == 1
    assert seasons_told(farm) == [[2027]] * 2


def test_where_nothing_changed_since_nothing_is_told(farm, bulk):
    farm.listen(EVENT)
    weigh(bulk)
    farm.minutes_pass(6)
    farm.carry_out_what_is_due(KIND)
    farm.minutes_pass(60)
    assert farm.carry_out_what_is_due(KIND) == 0
    assert len(farm.told()) == 1


def test_records_sent_again_unchanged_tell_nothing(farm, bulk):
    rows = bulk.weighings(3)
    bulk.send(rows)
    farm.listen(EVENT)
    bulk.send(rows)
    farm.minutes_pass(6)
    farm.carry_out_what_is_due(KIND)
    assert farm.told() == []


@pytest.mark.parametrize("kind", list(KINDS))
def test_a_record_of_every_kind_is_told(farm, bulk, kind):
    farm.listen(EVENT)
    answer = bulk.post(KINDS[kind], bulk.new(KINDS[kind]))
    assert answer.status_code == 201, answer.json()
    farm.minutes_pass(6)
    farm.carry_out_what_is_due(KIND)
    ((*seasons,),) = seasons_told(farm)
    assert answer.json()["season"] in seasons


VINES = ("block=Upper&season=2027&map=plain", "row,vine,pruning_weight\n1,1,1.2\n")
WEIGHTS = (
    "kind=dormant_record",
    "block,row,vine,observed_at,pruning_weight\n# units,1,1,,kg\nLower Terrace,1,7,2027-01-16,0.9\n",
)
WAYS = {
    "corrected": lambda bulk, at, _: bulk.client.patch(at, {"note": "x"}, format="json", headers={"If-Match": "*"}),
    "withdrawn": lambda bulk, at, _: bulk.client.delete(at, headers={"If-Match": "*"}),
    "bulk": lambda bulk, *_: bulk.send(bulk.weighings(12)[4:]),
    "atomic bulk": lambda bulk, *_: bulk.send(bulk.weighings(12)[4:], "?atomic=true"),
    "a list": lambda bulk, *_: bulk.send_array(bulk.weighings(12)[4:]),
    "case": lambda bulk, *_: Cases(bulk).open(),
    "file of vines": lambda bulk, _, cast: hand_in(bulk, cast.owner, *VINES),
    "file of weights": lambda bulk, _, cast: hand_in(bulk, cast.worker, *WEIGHTS),
}


def hand_in(bulk: Bulk, player, query: str, content: str):
    """Hand in a file, and let the job that takes it in be carried out."""
    asked = player.client.post(f"{bulk.url}/imports?{query}", content, content_type="text/csv")
    if asked.status_code == 202:
        jobs.run(bulk.block.farm_id, uuid.UUID(asked.json()["job"]["id"]))
    return asked


@pytest.mark.parametrize("way", list(WAYS))
def test_a_change_is_told_whichever_way_it_came_in(farm, bulk, cast, way):
    at = bulk.at(DORMANT_RECORD, weigh(bulk))
    farm.listen(EVENT)
    answer = WAYS[way](bulk, at, cast)
    assert answer.status_code in {200, 201, 202, 204, 207}, answer.json()
    farm.minutes_pass(6)
    farm.carry_out_what_is_due(KIND)
    assert len(farm.told()) == 1


def test_what_a_refused_request_would_have_changed_is_not_told(farm, bulk):
    farm.listen(EVENT)
    wrong = [*bulk.weighings(2), {"kind": "dormant_record", "wieght": 1}]
    assert bulk.send(wrong, "?atomic=true").status_code == 422
    assert farm.alarms(KIND) == []


def test_a_farm_without_a_receiver_that_wants_to_know_notes_no_job(farm, bulk):
    removed, off = farm.listen(EVENT), farm.listen(EVENT)
    farm.listen("report.ready")
    farm.remove(removed)
    farm.change(off, enabled=False)
    weigh(bulk)
    assert farm.alarms(KIND) == []


def test_a_transaction_looks_once_whether_anybody_wants_to_know(farm, bulk):
    """Five kinds of record in one request mark five times; PostgreSQL's own count of index scans tells the look-ups."""
    kinds = ("dormant_record", "bud_sample", "shoot_count", "cluster_count", "harvest_record")
    rows = [{"kind": kind, **bulk.new(KINDS[kind])} for kind in kinds]
    with transaction.atomic(), connection.cursor() as cursor:
        before = _look_ups(cursor)
        answer = bulk.send(rows, "?atomic=true")
        assert answer.status_code == 200, answer.json()
        assert _look_ups(cursor) - before == 1


def _look_ups(cursor) -> int:
    cursor.execute(
        "SELECT coalesce(sum(pg_stat_get_xact_numscans(c.oid)), 0) FROM pg_class c "
        "WHERE c.oid = 'webhook_endpoint'::regclass "
        "OR c.oid IN (SELECT indexrelid FROM pg_index WHERE indrelid = 'webhook_endpoint'::regclass)"
    )
    return int(cursor.fetchone()[0])


def test_each_receiver_is_told_what_changed_since_it_began_to_listen(farm, bulk):
    farm.listen(EVENT)
    weigh(bulk, 1, observed_at="2026-01-16T10:02:00-05:00")
    farm.minutes_pass(6)
    farm.carry_out_what_is_due(KIND)
    farm.listen(EVENT)
    farm.minutes_pass(6)
    weigh(bulk, 2)
    farm.minutes_pass(6)
    farm.carry_out_what_is_due(KIND)
    assert seasons_told(farm) == [[2026], [2027], [2027]]


def test_a_receiver_that_was_switched_off_begins_anew_when_it_is_switched_on(farm, bulk):
    endpoint = farm.listen(EVENT)
    farm.change(endpoint, enabled=False)
    weigh(bulk, 1, observed_at="2025-01-16T10:02:00-05:00")
    farm.change(endpoint, enabled=True)
    weigh(bulk, 2)
    farm.minutes_pass(6)
    farm.carry_out_what_is_due(KIND)
    assert seasons_told(farm) == [[2027]]


def test_a_change_of_something_else_about_a_receiver_loses_nothing(farm, bulk):
    endpoint = farm.listen(EVENT)
    weigh(bulk)
    farm.change(endpoint, events=[EVENT, "report.ready"])
    farm.minutes_pass(6)
    farm.carry_out_what_is_due(KIND)
    assert len(farm.told()) == 1


def test_a_writer_that_is_under_way_while_the_job_runs_is_told_by_the_next(farm, bulk):
    """It relied on the job that waited; that one is carried out before the writer commits, and cannot see it."""
    farm.listen(EVENT)
    weigh(bulk, 1, observed_at="2026-01-16T10:02:00-05:00")
    written, may_commit = threading.Event(), threading.Event()

    def slow() -> None:
        try:
            with transaction.atomic():
                weigh(bulk, 2)
                written.set()
                may_commit.wait(20)
        finally:
            connection.close()

    thread = threading.Thread(target=slow)
    thread.start()
    assert written.wait(20)
    farm.minutes_pass(6)
    assert farm.carry_out_what_is_due(KIND) == 1
    may_commit.set()
    thread.join(20)
    assert seasons_told(farm) == [[2026]]
    farm.minutes_pass(6)
    assert farm.carry_out_what_is_due(KIND) == 1
    assert seasons_told(farm) == [[2026], [2027]]
    farm.minutes_pass(6)
    assert farm.carry_out_what_is_due(KIND) == 0


def test_two_writers_at_once_note_two_jobs_at_most_and_are_told_once(farm, bulk):
    farm.listen(EVENT)
    ready = threading.Barrier(2)

    def write(place: int) -> None:
        try:
            with transaction.atomic():
                weigh(bulk, place)
                ready.wait(20)
        finally:
            connection.close()

    threads = [threading.Thread(target=write, args=(place,)) for place in (1, 2)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(30)
    farm.minutes_pass(6)
    assert 1 <= farm.carry_out_what_is_due(KIND) <= 2
    assert len(farm.told()) == 1


def test_a_job_that_comes_to_no_end_leaves_another_in_its_place(farm, bulk, monkeypatch):
    farm.listen(EVENT)
    weigh(bulk)
    farm.minutes_pass(6)
    with monkeypatch.context() as broken:
        broken.setitem(jobs.KINDS, KIND, going_wrong)
        for _ in range(jobs.MOST_ATTEMPTS):
            with pytest.raises(RuntimeError):
                _carry_out_now(farm)
    farm.minutes_pass(6)
    assert farm.carry_out_what_is_due(KIND) == 1
    assert len(farm.told()) == 1


def _carry_out_now(farm: Listening) -> None:
    """Carry out whatever waits, also a job that was given back after an attempt."""
    for ticket in JobTicket.objects.filter(farm_id=farm.farm.pk):
        JobTicket.objects.filter(pk=ticket.pk).update(leased_until="2020-01-01T00:00:00Z")
        jobs.run(farm.farm.pk, ticket.job_id)


def test_a_receiver_that_takes_nothing_is_told_once_an_hour_and_no_more(farm, bulk, receiver):
    farm.listen(EVENT)
    receiver.status = 500
    weigh(bulk, 1)
    farm.minutes_pass(6)
    farm.carry_out_what_is_due(KIND)
    farm.told()
    weigh(bulk, 2)
    told = set()
    for _ in range(11):
        farm.minutes_pass(5.1)
        farm.carry_out_what_is_due(KIND)
        told |= {message.headers["webhook-id"] for message in receiver.received}
    farm.told()
    assert len({message.headers["webhook-id"] for message in receiver.received}) == 1
    farm.minutes_pass(10)
    farm.carry_out_what_is_due(KIND)
    farm.told()
    assert len({message.headers["webhook-id"] for message in receiver.received}) == 2


def test_what_a_receiver_was_told_of_is_kept_by_season(farm, bulk):
    farm.listen(EVENT)
    weigh(bulk)
    farm.minutes_pass(6)
    farm.carry_out_what_is_due(KIND)
    with transaction.atomic():
        open_for_work(farm.farm.pk)
        assert set(WebhookEndpoint.objects.for_farm(farm.farm).get().told_versions) == {"2027"}
