"""The making of a program's report survives its workers: one holds it, another takes it over, a poisoned one ends."""

from __future__ import annotations

import threading
import uuid
from datetime import UTC, datetime, timedelta

import pytest
from django.db import connection
from django.db.models.functions import Now

from balance.models import ProgramReport, ProgramReportFile
from balance.program_work import cancelling, leases
from balance.reports import tasks
from balance.reports.programs import making
from balance.reports.programs.asking import TASK
from balance.reports.programs.document import Released
from records.errors import NotFound
from records.services.jobs import LEASE

MOMENT = datetime(2026, 11, 20, 15, 4, 6, tzinfo=UTC)


class Killed(BaseException):
    """The worker's process ends here, without a word."""


@pytest.fixture
def queued(cast, monkeypatch):
    """A report that is asked for, of a program that no farm lets count it: what is made of it says nothing."""
    monkeypatch.setattr(making, "_counted", lambda *_: making._Counted(Released(), MOMENT, ()))
    return report_of(cast)


def report_of(cast, season=2026):
    return ProgramReport.objects.create(
        program=cast.program, season=season, units="metric", asked_by=cast.lead.person, created_digest="x"
    )


def let_the_lease_run_out(report):
    ProgramReport.objects.filter(pk=report.pk).update(leased_until=Now() - timedelta(seconds=1))


def now(report):
    return ProgramReport.objects.get(pk=report.pk)


@pytest.mark.django_db
def test_a_report_that_is_delivered_ten_times_is_made_once(queued):
    for _ in range(10):
        making.run(queued.pk)
    row = now(queued)
    assert (row.state, row.attempts) == ("succeeded", 1)
    assert sorted(ProgramReportFile.objects.values_list("form", flat=True)) == ["csv", "html", "json", "pdf", "xlsx"]


@pytest.mark.django_db(transaction=True)
def test_of_two_claims_at_once_one_wins(queued):
    start, held = threading.Barrier(2), []

    def claim():
        start.wait()
        held.append(leases.take_up(ProgramReport, queued.pk))
        connection.close()

    workers = [threading.Thread(target=claim) for _ in range(2)]
    for worker in workers:
        worker.start()
    for worker in workers:
        worker.join()
    assert sorted(each is None for each in held) == [False, True]
    assert now(queued).attempts == 1


@pytest.mark.django_db
def test_a_report_whose_lease_has_run_out_is_taken_over_and_its_first_worker_changes_nothing(queued, monkeypatch):
    render, attempts = making._rendered, []

    def held_up(held, *told):
        attempts.append(held.attempt)
        files = render(held, *told)
        if held.attempt == 1:
            let_the_lease_run_out(queued)
            making.run(queued.pk)
        return files

    monkeypatch.setattr(making, "_rendered", held_up)
    making.run(queued.pk)
    row = now(queued)
    assert (attempts, row.attempts, row.state) == ([1, 2], 2, "succeeded")
    assert set(ProgramReportFile.objects.values_list("attempt", flat=True)) == {2}


@pytest.mark.django_db
def test_one_that_is_held_is_not_taken_up(queued):
    first = leases.take_up(ProgramReport, queued.pk)
    assert first is not None
    assert leases.take_up(ProgramReport, queued.pk) is None
    first.renew()
    assert now(queued).leased_until > now(queued).received_at + timedelta(seconds=10)


@pytest.mark.django_db
def test_a_poisoned_report_stops_after_three_and_the_others_are_made(queued, cast, monkeypatch):
    healthy = report_of(cast, season=2025)
    count = making._counted

    def poisoned(held, report):
        if report.pk == queued.pk:
            raise MemoryError
        return count(held, report)

    monkeypatch.setattr(making, "_counted", poisoned)
    for _ in range(5):
        let_the_lease_run_out(queued)
        if now(queued).state in {"queued", "running"}:
            with pytest.raises(MemoryError):
                making.run(queued.pk)
        making.run(healthy.pk)
    row = now(queued)
    assert (row.state, row.attempts) == ("failed", 3)
    assert row.failure == "It was tried 3 times and came to no end; it is not tried again."
    assert now(healthy).state == "succeeded"


@pytest.mark.django_db
def test_one_that_kills_its_worker_three_times_is_given_up(queued, monkeypatch):
    def killed(*_):
        raise Killed

    monkeypatch.setattr(making, "_counted", killed)
    for _ in range(3):
        let_the_lease_run_out(queued)
        with pytest.raises(Killed):
            making.run(queued.pk)
    assert now(queued).state == "running"
    let_the_lease_run_out(queued)
    making.run(queued.pk)
    assert (now(queued).state, now(queued).attempts, bool(now(queued).finished_at)) == ("failed", 3, True)


@pytest.mark.django_db
def test_what_failed_once_waits_before_it_is_tried_again(queued, monkeypatch):
    monkeypatch.setattr(making, "_counted", lambda *_: 1 / 0)
    with pytest.raises(ZeroDivisionError):
        making.run(queued.pk)
    waits = ProgramReport.objects.filter(pk=queued.pk, leased_until__gt=Now(), leased_until__lt=Now() + LEASE)
    assert waits.exists()
    assert leases.take_up(ProgramReport, queued.pk) is None


@pytest.mark.django_db
def test_a_refusal_ends_it_at_once_with_its_sentence(queued, cast):
    ProgramReport.objects.filter(pk=queued.pk).update(asked_by=None)
    making.run(queued.pk)
    row = now(queued)
    assert (row.state, row.attempts) == ("failed", 1)
    assert row.failure.startswith("Whoever asked for the report does not lead the program any more.")


@pytest.mark.django_db
def test_the_sweep_wakes_workers_for_what_nobody_holds(queued, cast, monkeypatch):
    held, finished = report_of(cast, season=2025), report_of(cast, season=2024)
    leases.take_up(ProgramReport, held.pk)
    making.run(finished.pk)
    let_the_lease_run_out(queued)
    woken = []
    monkeypatch.setattr(leases, "wake_for", lambda *told: woken.append(told))
    assert leases.sweep() == 1
    assert woken == [(TASK, queued.pk)]


def test_the_sweep_is_on_the_schedule_and_its_tasks_are_known(settings):
    from vineyard.celery import app

    app.loader.import_default_modules()
    swept = settings.CELERY_BEAT_SCHEDULE["sweep-program-work"]
    assert swept["schedule"] <= 10
    assert {swept["task"], TASK} <= set(app.tasks)


@pytest.mark.django_db
def test_the_task_makes_the_report_and_one_for_no_report_does_nothing(queued):
    tasks.make_program_report.apply(args=(str(uuid.uuid4()),), throw=True)
    assert now(queued).state == "queued"
    tasks.make_program_report.apply(args=(str(queued.pk),), throw=True)
    assert now(queued).state == "succeeded"


# ------------------------------------------------------------------------------------- cancelled and tried again


def at(cast, report, tail=""):
    return f"/api/v1/programs/{cast.program.pk}/reports/{report.pk}{tail}"


@pytest.mark.django_db
def test_one_that_waits_is_cancelled_at_once_and_again_changes_nothing(queued, cast):
    for _ in range(2):
        cancelled = cast.lead.client.post(at(cast, queued, "/cancellation"))
        assert (cancelled.status_code, cancelled.json()["state"]) == (200, "cancelled")
    making.run(queued.pk)
    assert (now(queued).state, now(queued).attempts) == ("cancelled", 0)


@pytest.mark.django_db
def test_one_that_is_being_made_stops_at_its_next_step_and_leaves_nothing(queued, cast, monkeypatch):
    render = making._rendered

    def cancelled_meanwhile(*told):
        answer = cast.lead.client.post(at(cast, queued, "/cancellation"))
        assert (answer.status_code, answer.json()["state"]) == (202, "running")
        return render(*told)

    monkeypatch.setattr(making, "_rendered", cancelled_meanwhile)
    making.run(queued.pk)
    assert (now(queued).state, now(queued).document, bool(now(queued).finished_at)) == ("cancelled", None, True)
    assert not ProgramReportFile.objects.exists()


@pytest.mark.django_db
def test_one_whose_worker_died_is_cancelled_at_once(queued, cast):
    leases.take_up(ProgramReport, queued.pk)
    let_the_lease_run_out(queued)
    assert cast.lead.client.post(at(cast, queued, "/cancellation")).json()["state"] == "cancelled"


@pytest.mark.django_db
def test_one_that_was_cancelled_or_failed_is_tried_again_three_times_more(queued, cast, monkeypatch):
    monkeypatch.setattr(making, "_told", lambda *_: 1 / 0)
    for _ in range(3):
        let_the_lease_run_out(queued)
        with pytest.raises(ZeroDivisionError):
            making.run(queued.pk)
    assert now(queued).state == "failed"
    assert cast.lead.client.post(at(cast, queued, "/retry")).json()["failure"] == ""
    for _ in range(2):
        let_the_lease_run_out(queued)
        with pytest.raises(ZeroDivisionError):
            making.run(queued.pk)
    assert (now(queued).state, now(queued).attempts) == ("running", 5)
    monkeypatch.undo()
    monkeypatch.setattr(making, "_counted", lambda *_: making._Counted(Released(), MOMENT, ()))
    let_the_lease_run_out(queued)
    making.run(queued.pk)
    assert now(queued).state == "succeeded"


@pytest.mark.django_db
def test_what_has_ended_is_neither_cancelled_nor_tried_again(queued, cast):
    making.run(queued.pk)
    for tail in ("/cancellation", "/retry"):
        assert cast.lead.client.post(at(cast, queued, tail)).status_code == 409
    with pytest.raises(NotFound):
        cancelling.cancel(ProgramReport, cast.program, uuid.uuid4())


@pytest.mark.django_db
def test_a_retry_is_in_the_name_of_whoever_asks(queued, cast):
    ProgramReport.objects.filter(pk=queued.pk).update(asked_by=None)
    making.run(queued.pk)
    assert now(queued).state == "failed"
    assert cast.lead.client.post(at(cast, queued, "/retry")).status_code == 202
    making.run(queued.pk)
    assert (now(queued).state, now(queued).asked_by) == ("succeeded", cast.lead.person)
