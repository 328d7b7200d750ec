"""Jobs on a real worker: killed in the middle, asked for many times, without a broker; each is done once and whole."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from datetime import UTC, datetime, timedelta
from pathlib import Path
from threading import Barrier
from typing import Any
from urllib.parse import urlsplit, urlunsplit
from uuid import UUID

import pytest
import time_machine
from celery import current_app
from django.db import connection, transaction
from django.db.models.functions import Now
from rest_framework.test import APIClient

from records.access import open_for_work
from records.models import DormantRecord, ImportRow, Job, JobTicket, Vine
from records.services import jobs
from records.waking import wake
from tests.records.desk import PLAIN, Desk

ROOT = Path(__file__).resolve().parents[2]
pytestmark = [pytest.mark.django_db(transaction=True), pytest.mark.slow]
#: A part of the broker of its own: other tests wake workers that do not exist.
OWN_PART = "virtual_host=7"
VINES = 2_500
FILE = "row,vine,pruning_weight\n" + "".join(f"{1 + n // 200},{1 + n % 200},1.5\n" for n in range(VINES))


@pytest.fixture
def desk(transactional_db: None, cast: Any) -> Any:
    return Desk(cast)


@pytest.fixture
def broker(monkeypatch: pytest.MonkeyPatch) -> str:
    url = os.environ["BROKER_URL"].replace("virtual_host=0", OWN_PART)
    if OWN_PART not in url:
        url = f"{os.environ['BROKER_URL'].rsplit('/', 1)[0]}/7"
    monkeypatch.setitem(current_app.conf, "broker_write_url", url)
    with current_app.connection_for_write() as opened:
        opened.SimpleQueue("celery").clear()
    return url


class Worker:
    """A Celery worker in a process group of its own, on the database of the tests."""

    def __init__(self, broker: str, log: Path) -> None:
        name = connection.settings_dict["NAME"]
        database = urlunsplit(urlsplit(os.environ["DATABASE_URL"])._replace(path=f"/{name}"))
        environment = {**os.environ, "DATABASE_URL": database, "BROKER_URL": broker}
        argv = [sys.executable, "-m", "celery", "--app", "vineyard", "worker", "-c", "2", "--loglevel", "warning",
                "--without-mingle", "--without-gossip"]  # fmt: skip
        with log.open("a") as opened:
            self.process = subprocess.Popen(
                argv, cwd=ROOT, env=environment, stdout=opened, stderr=opened, start_new_session=True
            )

    def kill(self) -> None:
        """End the worker and its children, as when the machine loses power."""
        os.killpg(self.process.pid, signal.SIGKILL)
        self.process.wait(10)

    def stop(self) -> None:
        if self.process.poll() is None:
            self.process.terminate()
            try:
                self.process.wait(15)
            except subprocess.TimeoutExpired:
                self.kill()


@pytest.fixture
def start_worker(broker: str, tmp_path: Path) -> Iterator[Callable[[], Worker]]:
    started: list[Worker] = []

    def start() -> Worker:
        started.append(Worker(broker, tmp_path / "worker.log"))
        return started[-1]

    yield start
    for worker in started:
        worker.stop()


def job_of(desk: Any, asked: Any) -> Job:
    with transaction.atomic():
        open_for_work(desk.farm.pk)
        job: Job = Job.objects.for_farm(desk.farm).get(pk=asked.json()["job"]["id"])
        return job


def wait_for(desk: Any, asked: Any, reached: Callable[[Job], bool], within: float = 45) -> Job:
    end = time.monotonic() + within
    while not reached(job := job_of(desk, asked)):
        assert time.monotonic() < end, f"{job.state}, {job.progress_done} of {job.progress_total}: {job.failure}"
        time.sleep(0.02)
    return job


def stored(desk: Any) -> dict[str, Any]:
    with transaction.atomic():
        open_for_work(desk.farm.pk)
        records = DormantRecord.objects.for_farm(desk.farm)
        lines = ImportRow.objects.for_farm(desk.farm)
        return {
            "vines": Vine.objects.for_farm(desk.farm).count(),
            "records": records.count(),
            "versions": set(records.values_list("version", flat=True)),
            "lines": lines.count(),
            "outcomes": set(lines.values_list("outcome", flat=True)),
            "tickets": JobTicket.objects.count(),
        }


WHOLE = {"vines": VINES, "records": VINES, "versions": {1}, "lines": VINES, "outcomes": {"created"}, "tickets": 0}


def test_a_worker_killed_in_the_middle_of_a_file_is_followed_by_one_that_finishes_it(desk, start_worker):
    """The second worker gets the job from the sweeper, as the broker may have forgotten it."""
    asked = desk.ask(FILE)
    first = start_worker()
    halfway = wait_for(desk, asked, lambda job: job.progress_done > 0)
    first.kill()
    assert 0 < halfway.progress_done < VINES
    with transaction.atomic():
        assert JobTicket.objects.update(leased_until=Now()) == 1  # twenty seconds go by
    assert jobs.sweep() == 1
    start_worker()
    done = wait_for(desk, asked, lambda job: job.finished_at is not None)
    assert (done.state, done.attempts, done.progress_done) == ("succeeded", 2, VINES)
    assert stored(desk) == WHOLE


def test_a_job_asked_for_while_no_broker_answers_is_done_when_one_does(desk, start_worker, broker, monkeypatch):
    with monkeypatch.context() as away:
        away.setitem(current_app.conf, "broker_write_url", "redis://127.0.0.1:1/0")
        asked = desk.ask("row,vine,pruning_weight\n1,1,1.5\n")
    start_worker()
    assert job_of(desk, asked).state == "queued"
    assert jobs.sweep() == 1
    assert wait_for(desk, asked, lambda job: job.finished_at is not None).state == "succeeded"


def test_ten_deliveries_to_two_processes_have_one_effect(desk, start_worker):
    asked = desk.ask(FILE)
    for _ in range(9):
        wake(desk.farm.pk, UUID(asked.json()["job"]["id"]))
    start_worker()
    done = wait_for(desk, asked, lambda job: job.finished_at is not None)
    assert (done.state, done.attempts) == ("succeeded", 1)
    assert stored(desk) == WHOLE


def test_a_file_sent_six_times_at_once_is_one_import(desk, broker):
    """A field app whose answer was lost sends again while the first is on its way."""
    assert desk.ask("row,vine,pruning_weight\n1,9,1.5\n").status_code == 202  # the block stands already
    together = Barrier(6)

    def ask(_: int) -> tuple[int, str]:
        client = APIClient(headers={"Authorization": f"Bearer {desk.worker.key_text}"})
        together.wait(10)
        try:
            answer = client.post(f"{desk.url}/imports?{PLAIN}", FILE, content_type="text/csv")
            return answer.status_code, answer.json().get("job", answer.json()).get("id")
        finally:
            connection.close()

    with ThreadPoolExecutor(6) as threads:
        answers = set(threads.map(ask, range(6)))
    assert {status for status, _ in answers} == {202}
    assert (len(answers), JobTicket.objects.count()) == (1, 2)


def test_of_many_sweeps_that_waited_for_a_worker_one_is_carried_out_whatever_clock_it_has(broker, monkeypatch):
    """After a day without a worker, 8,640 of them wait; none says when it expires, which a wrong clock would decide."""
    from records.tasks import sweep_jobs

    monkeypatch.setattr(jobs, "sweep", lambda: 1)
    with current_app.connection_for_write() as opened:
        kept: Any = opened.default_channel
        kept.client.delete("vineyard:done:sweep")
        sweep_jobs.apply_async(connection=opened)  # type: ignore[call-arg]  # not in the stubs
        message: Any = opened.SimpleQueue("celery").get(timeout=2)
        message.ack()
        assert message.headers["expires"] is None
        assert [sweep_jobs() for _ in range(20)] == [1] + [0] * 19
        ahead = datetime.now(tz=UTC) + timedelta(hours=2)
        with time_machine.travel(ahead):
            assert sweep_jobs() == 0, "its clock is not asked"
        assert 0 < kept.client.ttl("vineyard:done:sweep") <= 5
        kept.client.delete("vineyard:done:sweep")  # the next is due
        assert sweep_jobs() == 1


def test_a_sweep_is_carried_out_where_the_broker_is_away(monkeypatch):
    from records.tasks import sweep_jobs

    monkeypatch.setitem(current_app.conf, "broker_write_url", "redis://127.0.0.1:1/0")
    monkeypatch.setattr(jobs, "sweep", lambda: 7)
    assert [sweep_jobs(), sweep_jobs()] == [7, 7]
