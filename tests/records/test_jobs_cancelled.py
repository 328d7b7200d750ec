"""A job that is not wanted any more is cancelled, and one that came to nothing is tried again: the effect stays once."""

from __future__ import annotations

import uuid
from typing import Any

import pytest
from django.db.models.functions import Now
from django.utils import timezone

from records.access import Right
from records.errors import NotValid
from records.models import ExportPart, ImportRow, Job, JobTicket
from records.services import exports, imports, jobs
from records.services.jobs import queue_for_later
from tests.records.desk import PLAIN
from tests.records.test_jobs import Killed, does, let_the_lease_run_out, shop  # noqa: F401 - a fixture

pytestmark = pytest.mark.django_db
LINES = "row,vine,pruning_weight\n" + "".join(f"1,{place},1.5\n" for place in range(1, 8))


def cancel(cast: Any, job: Job, by: str = "viewer") -> Any:
    return getattr(cast, by).client.post(f"/api/v1/farms/{job.farm_id}/jobs/{job.pk}/cancellation")


def retry(cast: Any, job: Job, by: str = "viewer") -> Any:
    return getattr(cast, by).client.post(f"/api/v1/farms/{job.farm_id}/jobs/{job.pk}/retry")


def state_of(answer: Any) -> tuple[int, str]:
    return answer.status_code, answer.json()["state"]


def test_a_job_that_waits_is_cancelled_at_once_and_never_begun(cast, shop):  # noqa: F811
    done: list[Any] = []

    def work(*ids: Any) -> Any:
        done.append(ids)
        yield 1, 1

    job = shop.queue(work)
    assert state_of(cancel(cast, job)) == (200, "cancelled")
    assert not JobTicket.objects.exists()
    shop.open()
    shop.run(job)
    assert done == []
    told = shop.told(job)
    assert (told["state"], told["attempts"], told["failure"]) == ("cancelled", 0, "")
    assert told["finished_at"] and told["cancel_asked_at"]


def test_a_job_that_runs_is_stopped_at_its_next_step(cast, shop):  # noqa: F811
    reached: list[int] = []

    def work(*_: Any) -> Any:
        yield 1, 3
        assert state_of(cancel(cast, job)) == (202, "running")
        reached.append(2)
        yield 2, 3
        reached.append(3)

    job = shop.queue(work)
    shop.run(job)
    assert reached == [2]
    assert (shop.told(job)["state"], shop.told(job)["progress_done"]) == ("cancelled", 2)
    assert not JobTicket.objects.exists()


def test_a_job_that_was_at_its_last_step_when_it_was_cancelled_has_succeeded(cast, shop):  # noqa: F811
    def work(*_: Any) -> Any:
        cancel(cast, job)
        yield 3, 3

    job = shop.queue(work)
    shop.run(job)
    assert shop.told(job)["state"] == "succeeded"


def test_a_job_whose_worker_died_is_cancelled_at_once_after_its_lease_and_by_the_next_worker_before(cast, shop):  # noqa: F811
    jobs_of = [shop.queue(does((1, 9), then=Killed())) for _ in range(2)]
    for job in jobs_of:
        with pytest.raises(Killed):
            shop.run(job)
    held, free = jobs_of
    assert state_of(cancel(cast, held)) == (202, "running")
    let_the_lease_run_out()
    assert state_of(cancel(cast, free)) == (200, "cancelled")
    shop.open()
    shop.run(held)
    assert (shop.told(held)["state"], shop.told(held)["attempts"]) == ("cancelled", 1)
    assert not JobTicket.objects.exists()


def test_to_cancel_again_changes_nothing_and_what_has_ended_is_not_cancelled(cast, shop):  # noqa: F811
    job = shop.queue(does((1, 1)))
    first, second = cancel(cast, job), cancel(cast, job)
    assert first.json() == second.json()
    shop.open()
    done = shop.queue(does((1, 1)))
    shop.run(done)
    refused = cancel(cast, done)
    assert (refused.status_code, "it succeeded" in refused.json()["detail"]) == (409, True)
    assert shop.told(done)["state"] == "succeeded"


def test_a_job_that_failed_is_tried_again_three_times_under_new_numbers(cast, shop):  # noqa: F811
    seen = []

    def work(farm_id: Any, job_id: Any) -> Any:
        seen.append(Job.objects.for_farm(farm_id).get(pk=job_id).attempts)
        yield from does(then=Killed())()

    job = shop.queue(work)
    for _ in range(2):
        for _ in range(3):
            with pytest.raises(Killed):
                shop.run(job)
            let_the_lease_run_out()
        shop.run(job)
        assert (shop.told(job)["state"], shop.told(job)["attempts"]) == ("failed", 3)
        answer = retry(cast, job)
        assert state_of(answer) == (202, "queued")
        assert (answer.json()["attempts"], answer.json()["failure"], answer.json()["progress_total"]) == (0, "", None)
        shop.open()
    assert seen == [1, 2, 3, 4, 5, 6]
    assert retry(cast, job).json()["state"] == "queued"
    assert JobTicket.objects.count() == 1, "asking again makes no second ticket"


def test_a_worker_of_before_the_retry_cannot_take_the_job_for_its_own(cast, shop):  # noqa: F811
    """It is held up, the job is cancelled and tried again, and it wakes while the next attempt runs."""
    turn = iter(["held up", "the retry"])

    def work(farm_id: Any, job_id: Any) -> Any:
        if next(turn) == "the retry":
            yield 5, 9
            raise Killed
        let_the_lease_run_out()
        assert state_of(cancel(cast, job)) == (200, "cancelled")
        assert state_of(retry(cast, job)) == (202, "queued")
        with pytest.raises(Killed):
            jobs.run(farm_id, job_id)
        yield 1, 9
        raise NotValid("of the worker that was held up")

    job = shop.queue(work)
    shop.run(job)
    told = shop.told(job)
    assert (told["state"], told["progress_done"], told["failure"]) == ("running", 5, "")


def test_what_failed_waits_longer_each_time_before_it_is_tried_again(cast, shop):  # noqa: F811
    job = shop.queue(does(then=RuntimeError()))
    pauses = []
    for _ in range(2):
        with pytest.raises(RuntimeError):
            shop.run(job)
        (ahead,) = JobTicket.objects.annotate(now=Now()).values_list("leased_until", "now")
        pauses.append((ahead[0] - ahead[1]).total_seconds())
        let_the_lease_run_out()
    assert [round(pause) for pause in pauses] == [2, 8]
    with pytest.raises(RuntimeError):
        shop.run(job)
    assert (shop.told(job)["state"], shop.told(job)["attempts"]) == ("failed", 3), "the third is the last"


def test_what_succeeded_is_not_tried_again(cast, shop):  # noqa: F811
    job = shop.queue(does((1, 1)))
    shop.run(job)
    assert retry(cast, job).status_code == 409
    assert shop.told(job)["attempts"] == 1


@pytest.mark.parametrize("ask", [cancel, retry])
def test_who_may_not_ask_for_a_kind_of_job_may_not_meddle_with_one(ask, cast, shop, monkeypatch):  # noqa: F811
    monkeypatch.setitem(jobs.RIGHTS, "probe", Right.MANAGE)
    job = shop.queue(does((1, 1)))
    assert [ask(cast, job, who).status_code for who in ("viewer", "worker", "stranger", "lead")] == [403, 403, 404, 404]
    assert ask(cast, job, "owner").status_code in {200, 202}


@pytest.mark.parametrize("ask", [cancel, retry])
def test_what_the_service_asked_for_itself_is_left_to_it(ask, cast, shop):  # noqa: F811
    shop.open()
    job = queue_for_later(cast.farm.pk, exports.KIND_OF_REMOVAL, timezone.now())
    assert ask(cast, job, "owner").status_code == 409
    assert ask(cast, Job(farm_id=cast.farm.pk, pk=uuid.uuid4()), "owner").status_code == 404
    assert JobTicket.objects.count() == 1


def test_what_a_cancelled_import_stored_stays_and_the_retry_stores_the_rest_once(desk, cast, monkeypatch):
    """Lines come in chunks: after the second the import is cancelled."""
    monkeypatch.setattr(imports, "LINES_IN_A_CHUNK", 2)
    asked = desk.ask(LINES)
    job = Job.objects.for_farm(desk.farm).get(pk=asked.json()["job"]["id"])
    whole, steps = imports.carry_out, []

    def until_cancelled(*ids: Any) -> Any:
        for step in whole(*ids):
            steps.append(step)
            if step[0] == 4:
                cancel(cast, job, "owner")
            yield step

    with monkeypatch.context() as first:
        first.setitem(jobs.KINDS, imports.KIND, until_cancelled)
        desk.run(asked)
    assert desk.job(asked)["state"] == "cancelled"
    desk.open()
    assert ImportRow.objects.for_farm(desk.farm).count() == 4
    shown = cast.viewer.client.get(f"{desk.url}/imports/{asked.json()['import']['id']}").json()
    assert shown["counts"]["created"] == 4
    assert state_of(retry(cast, job, "owner")) == (202, "queued")
    desk.run(asked)
    assert desk.job(asked)["state"] == "succeeded"
    desk.open()
    lines = ImportRow.objects.for_farm(desk.farm).order_by("line")
    assert [(line.line, line.outcome) for line in lines] == [(number, "created") for number in range(2, 9)]


def test_a_cancelled_import_whose_file_is_sent_again_goes_on_under_that_job_and_the_old_one_says_so(desk, cast):
    asked = desk.ask(LINES)
    job = Job.objects.for_farm(desk.farm).get(pk=asked.json()["job"]["id"])
    cancel(cast, job, "owner")
    again = desk.send(LINES, PLAIN)
    assert again.json()["import"]["id"] == asked.json()["import"]["id"]
    assert desk.job(again)["state"] == "succeeded"
    assert retry(cast, job, "owner").status_code == 202
    desk.run(asked)
    assert (desk.job(asked)["state"], "sent again since" in desk.job(asked)["failure"]) == ("failed", True)


def test_of_a_cancelled_export_nothing_is_left_and_its_file_is_not_promised(cast, shop, monkeypatch):  # noqa: F811
    url = f"/api/v1/farms/{cast.farm.pk}/exports"
    export = cast.owner.client.post(url).json()
    shop.open()
    job = Job.objects.for_farm(cast.farm).get(kind=exports.KIND)

    def half(farm_id: Any, _: Any) -> Any:
        ExportPart.objects.create(farm_id=farm_id, export_id=export["id"], attempt=1, number=0, content=b"half")
        cancel(cast, job, "owner")
        yield 1, 2

    monkeypatch.setitem(jobs.KINDS, exports.KIND, half)
    shop.run(job)
    assert shop.told(job)["state"] == "cancelled"
    shop.open()
    assert not ExportPart.objects.for_farm(cast.farm).exists()
    refused = cast.owner.client.get(f"{url}/{export['id']}/file")
    assert (refused.status_code, "was cancelled" in refused.json()["detail"]) == (409, True)
