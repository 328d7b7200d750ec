"""Work in the background: the job row is the truth, the ticket says who holds it, the broker only wakes a worker."""

from __future__ import annotations

import logging
import socket
import time
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest
from celery import current_app
from django.db.models.functions import Now

from records.access import enter, open_farm
from records.errors import NotValid
from records.models import Job, JobTicket
from records.services import jobs

pytestmark = pytest.mark.django_db


class Killed(BaseException):
    """The worker's process ends here, without a word."""


@pytest.fixture
def shop(cast, monkeypatch):
    """A farm with a kind of job that does what the test says."""

    class Shop:
        url = f"/api/v1/farms/{cast.farm.pk}"

        def queue(self, work: Any) -> Job:
            monkeypatch.setitem(jobs.KINDS, "probe", work)
            return jobs.queue_job(self.open(), "probe")

        def open(self) -> Any:
            enter(cast.worker.caller)
            return open_farm(cast.worker.caller, cast.farm.pk)

        def run(self, job: Job) -> None:
            try:
                jobs.run(cast.farm.pk, job.pk)
            finally:
                self.open()

        def told(self, job: Job) -> dict[str, Any]:
            answer: dict[str, Any] = cast.viewer.client.get(f"{self.url}/jobs/{job.pk}").json()
            self.open()
            return answer

    return Shop()


def let_the_lease_run_out() -> None:
    JobTicket.objects.update(leased_until=Now() - timedelta(seconds=1))


def does(*progress: tuple[int, int], then: BaseException | None = None) -> Any:
    """Give a work that gets so far and then ends, well or not."""

    def work(*_: Any) -> Any:
        yield from progress
        if then:
            raise then

    return work


def test_a_job_that_is_delivered_ten_times_is_done_once(shop):
    done = []

    def work(*ids: Any) -> Any:
        done.append(ids)
        yield 1, 1

    job = shop.queue(work)
    for _ in range(10):
        shop.run(job)
    assert done == [(job.farm_id, job.pk)]
    assert (shop.told(job)["state"], shop.told(job)["attempts"]) == ("succeeded", 1)
    assert not JobTicket.objects.exists()


def test_a_job_whose_worker_died_is_left_alone_until_its_lease_runs_out(shop):
    job = shop.queue(does((1, 9), then=Killed()))
    with pytest.raises(Killed):
        shop.run(job)
    shop.run(job)
    assert (shop.told(job)["state"], shop.told(job)["attempts"], shop.told(job)["progress_done"]) == ("running", 1, 1)
    let_the_lease_run_out()
    shop.queue(does((9, 9)))
    shop.run(job)
    assert (shop.told(job)["state"], shop.told(job)["attempts"], shop.told(job)["progress_done"]) == ("succeeded", 2, 9)


def test_progress_renews_the_lease(shop):
    held = []

    def work(*_: Any) -> Any:
        let_the_lease_run_out()
        yield 1, 2
        held.append(JobTicket.objects.filter(leased_until__gt=Now()).count())

    shop.run(shop.queue(work))
    assert held == [1]


def test_a_worker_held_up_beyond_its_lease_says_nothing_of_the_job_that_another_took_over(shop):
    """It wakes to find the job done, and neither fails it nor moves its progress."""
    turn = iter(["held up", "takes over"])

    def work(farm_id: Any, job_id: Any) -> Any:
        if next(turn) == "takes over":
            yield 9, 9
            return
        let_the_lease_run_out()
        jobs.run(farm_id, job_id)
        yield 1, 9
        raise NotValid("of the worker that was held up")

    job = shop.queue(work)
    shop.run(job)
    told = shop.told(job)
    assert (told["state"], told["attempts"], told["progress_done"], told["failure"]) == ("succeeded", 2, 9, "")


def test_a_worker_that_was_taken_over_leaves_the_lease_of_the_other_alone(shop):
    turn = iter(["held up", "takes over"])

    def work(farm_id: Any, job_id: Any) -> Any:
        if next(turn) == "takes over":
            raise Killed
        let_the_lease_run_out()
        with pytest.raises(Killed):
            jobs.run(farm_id, job_id)
        yield from does(then=RuntimeError())()

    job = shop.queue(work)
    with pytest.raises(RuntimeError):
        shop.run(job)
    assert JobTicket.objects.filter(leased_until__gt=Now() + timedelta(seconds=10)).count() == 1
    assert shop.told(job)["state"] == "running"


def test_a_job_that_ends_its_worker_three_times_is_failed_with_a_reason(shop):
    job = shop.queue(does((1, 9), then=Killed()))
    for _ in range(3):
        with pytest.raises(Killed):
            shop.run(job)
        let_the_lease_run_out()
    shop.run(job)
    assert (shop.told(job)["state"], "tried 3 times" in shop.told(job)["failure"]) == ("failed", True)
    assert not JobTicket.objects.exists()


def test_a_job_that_is_refused_fails_at_once_with_the_sentence(shop):
    job = shop.queue(does(then=NotValid("The file is empty.")))
    shop.run(job)
    assert (shop.told(job)["state"], shop.told(job)["failure"]) == ("failed", "The file is empty.")


def test_an_import_that_failed_is_tried_again_when_it_is_asked_for_again(desk):
    asked = desk.ask("row,vine,pruning_weight\n1,1,1\n")
    Job.objects.for_farm(desk.farm).update(state="failed")
    JobTicket.objects.all().delete()
    again = desk.send("row,vine,pruning_weight\n1,1,1\n")
    assert again.json()["import"]["id"] == asked.json()["import"]["id"]
    assert again.json()["job"]["id"] != asked.json()["job"]["id"]
    assert desk.lines(again)[0]["outcome"] == "created"


def test_a_job_that_is_not_finished_says_when_it_is_worth_asking_again(desk):
    asked = desk.ask("row,vine,pruning_weight\n1,1,1\n")
    address = asked.headers["Location"].removeprefix("http://testserver").removeprefix("http://localhost:8000")
    waiting = desk.viewer.client.get(address)
    assert (waiting.json()["state"], waiting.headers["Retry-After"]) == ("queued", "1")
    desk.run(asked)
    assert "Retry-After" not in desk.viewer.client.get(address).headers


def test_another_farms_jobs_and_imports_are_not_there(desk):
    asked = desk.send("row,vine,pruning_weight\n1,1,1\n").json()
    stranger = desk.cast.stranger.client
    own = f"/api/v1/farms/{desk.cast.other_farm.pk}"
    for farm in (desk.url, own):
        for path in (f"jobs/{asked['job']['id']}", f"imports/{asked['import']['id']}",
                     f"imports/{asked['import']['id']}/rows"):  # fmt: skip
            assert stranger.get(f"{farm}/{path}").status_code == 404, (farm, path)
    assert stranger.get(f"{own}/jobs").json()["results"] == []
    assert stranger.get(f"{own}/imports").json()["results"] == []


@pytest.fixture(params=["nobody listens", "there is no socket", "it accepts and never answers"])
def broker_away(request: pytest.FixtureRequest, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Any:
    with socket.socket() as mute:
        mute.bind(("127.0.0.1", 0))
        if request.param == "it accepts and never answers":
            mute.listen()
        url = f"redis://127.0.0.1:{mute.getsockname()[1]}/0"
        if request.param == "there is no socket":
            url = f"redis+socket://{tmp_path}/valkey.sock?virtual_host=0"
        monkeypatch.setitem(current_app.conf, "broker_write_url", url)
        yield


def test_with_the_broker_away_asking_is_answered_within_two_seconds_and_the_job_waits(
    broker_away, desk, caplog, django_capture_on_commit_callbacks, monkeypatch
):
    """trust.md B4: 202 within 2 s; the sweeper finds the ticket."""
    monkeypatch.setattr(logging.getLogger("vineyard"), "propagate", True)
    began = time.monotonic()
    with django_capture_on_commit_callbacks(execute=True) as callbacks:
        asked = desk.ask("row,vine,pruning_weight\n1,1,1\n")
    assert (asked.status_code, len(callbacks)) == (202, 1)
    assert time.monotonic() - began < 2
    assert "broker away" in caplog.text  # or it was not away at all
    assert JobTicket.objects.filter(leased_until__lte=Now()).count() == 1
