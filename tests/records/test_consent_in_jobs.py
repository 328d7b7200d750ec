"""A job works on behalf of whoever asked for it: when their consent or role ends, it delivers nothing more."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any
from uuid import UUID

import pytest

from records.access import Right, enter, open_farm
from records.models import Consent, Job, Person
from records.services import imports, jobs
from records.services.consents import consents_of, withdraw_consent
from records.services.farms import set_role
from records.services.vineyards import create_block, create_row, plant_row
from tests.records.desk import PLAIN, Desk

pytestmark = pytest.mark.django_db

TEN = "row,vine,pruning_weight\n" + "".join(f"1,{place},1.25\n" for place in range(1, 11))


class Adviser:
    """An adviser who asks for work, and the owner who may take the consent back."""

    def __init__(self, cast: Any, desk: Desk) -> None:
        self.cast, self.desk = cast, desk

    def owner_opens(self) -> Any:
        enter(self.cast.owner.caller)
        return open_farm(self.cast.owner.caller, self.cast.farm.pk)

    def withdraw(self) -> None:
        opened = self.owner_opens()
        consent = consents_of(opened).get(purpose="advice")
        withdraw_consent(opened, consent.pk, version=None)

    def asks_for_an_import(self) -> Any:
        asked = self.cast.adviser.client.post(f"{self.desk.url}/imports?{PLAIN}", TEN, content_type="text/csv")
        assert asked.status_code == 202, asked.json()
        return asked

    def asks_for(self, monkeypatch: Any, work: Any, right: Right = Right.READ) -> Job:
        monkeypatch.setitem(jobs.KINDS, "probe", work)
        monkeypatch.setitem(jobs.RIGHTS, "probe", right)
        enter(self.cast.adviser.caller)
        return jobs.queue_job(open_farm(self.cast.adviser.caller, self.cast.farm.pk), "probe")

    def run(self, job: Job) -> Job:
        jobs.run(self.cast.farm.pk, job.pk)
        self.owner_opens()
        done: Job = Job.objects.for_farm(self.cast.farm).get(pk=job.pk)
        return done


@pytest.fixture
def adviser(cast: Any, desk: Any) -> Adviser:
    adviser = Adviser(cast, desk)
    opened = adviser.owner_opens()
    plant_row(opened, create_row(opened, create_block(opened, None, {"name": "Lower"}).row, None, 1).row, 10)
    return adviser


def test_a_job_of_an_adviser_is_delivered_while_the_consent_stands(adviser):
    asked = adviser.asks_for_an_import()
    adviser.desk.run(asked)
    assert adviser.desk.job(asked)["state"] == "succeeded"


def test_a_job_that_waits_when_the_consent_ends_is_never_begun(adviser):
    asked = adviser.asks_for_an_import()
    adviser.withdraw()
    adviser.desk.run(asked)
    told = adviser.desk.job(asked)
    assert (told["state"], told["progress_done"]) == ("failed", 0)
    assert "no longer has the right 'record'" in told["failure"]
    assert adviser.desk.lines(asked) == []


def test_a_job_that_runs_when_the_consent_ends_stores_no_further_chunk(adviser, monkeypatch):
    monkeypatch.setattr(imports, "LINES_IN_A_CHUNK", 2)
    asked = adviser.asks_for_an_import()

    def watch(done: int, _: int) -> None:
        if done == 4:
            adviser.withdraw()

    jobs.run(adviser.cast.farm.pk, UUID(asked.json()["job"]["id"]), watch)
    adviser.desk.open()
    told = adviser.desk.job(asked)
    assert (told["state"], told["progress_done"]) == ("failed", 4)
    assert len(adviser.desk.lines(asked)) == 4


def test_a_job_whose_consent_ends_after_its_last_step_is_not_delivered(adviser, monkeypatch):
    def work(*_: Any) -> Iterator[jobs.Progress]:
        yield 1, 1
        adviser.withdraw()

    done = adviser.run(adviser.asks_for(monkeypatch, work))
    assert (done.state, "no longer has the right" in done.failure) == ("failed", True)


def test_a_consent_that_is_left_to_read_ends_a_job_that_records(adviser, monkeypatch):
    began: list[str] = []

    def work(*_: Any) -> Iterator[jobs.Progress]:
        began.append("the work")
        yield 1, 1

    job = adviser.asks_for(monkeypatch, work, Right.RECORD)
    adviser.owner_opens()
    Consent.objects.for_farm(adviser.cast.farm).update(rights=["read"])
    assert (adviser.run(job).state, began) == ("failed", [])


def test_the_job_of_a_person_whose_account_is_switched_off_ends(adviser, monkeypatch):
    job = adviser.asks_for(monkeypatch, lambda *_: iter(()))
    Person.objects.filter(pk=adviser.cast.adviser.person.pk).update(is_active=False)
    assert adviser.run(job).state == "failed"


def test_the_job_of_a_worker_whose_role_ends_ends_with_it(cast, adviser, monkeypatch):
    monkeypatch.setitem(jobs.KINDS, "probe", lambda *_: iter(()))
    monkeypatch.setitem(jobs.RIGHTS, "probe", Right.RECORD)
    enter(cast.worker.caller)
    job = jobs.queue_job(open_farm(cast.worker.caller, cast.farm.pk), "probe")
    adviser.owner_opens()
    set_role(cast.farm, cast.worker.person, "viewer")
    assert adviser.run(job).state == "failed"


def test_somebody_who_has_the_right_may_have_the_same_file_taken_in_after_all(adviser):
    asked = adviser.asks_for_an_import()
    adviser.withdraw()
    adviser.desk.run(asked)
    again = adviser.desk.send(TEN)
    assert len(adviser.desk.lines(again)) == 10
