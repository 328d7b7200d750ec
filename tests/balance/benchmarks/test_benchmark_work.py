"""The making of a snapshot by a worker: its task is known, a poisoned one ends, and whoever asked must still lead."""

from __future__ import annotations

import uuid
from datetime import timedelta

import pytest
from django.db.models.functions import Now

from balance.benchmarks import making, tasks
from balance.benchmarks.asking import TASK
from balance.benchmarks.models import BenchmarkSnapshot
from balance.program_work import leases
from records.models import ProgramMembership

pytestmark = pytest.mark.django_db(transaction=True)  # readings are opened at a moment


@pytest.fixture
def queued(cast):
    """A snapshot that is asked for, of a program that no farm lets count it: what is made of it tells nothing."""
    return BenchmarkSnapshot.objects.create(program=cast.program, season=2026, asked_by=cast.lead.person)


def now(snapshot):
    return BenchmarkSnapshot.objects.get(pk=snapshot.pk)


def test_its_task_is_known_to_the_worker_and_its_kind_to_the_sweep(queued, monkeypatch):
    from vineyard.celery import app

    app.loader.import_default_modules()
    assert TASK in app.tasks
    BenchmarkSnapshot.objects.filter(pk=queued.pk).update(leased_until=Now() - timedelta(seconds=1))
    woken = []
    monkeypatch.setattr(leases, "wake_for", lambda *told: woken.append(told))
    assert leases.sweep() == 1
    assert woken == [(TASK, queued.pk)]


def test_the_task_makes_it_and_a_program_without_growers_is_told_nothing(queued):
    tasks.make_benchmarks.apply(args=(str(uuid.uuid4()),), throw=True)
    tasks.make_benchmarks.apply(args=(str(queued.pk),), throw=True)
    row = now(queued)
    assert (row.state, row.number, row.growers) == ("succeeded", 1, "")
    assert {(cell.dimension, cell.mean, cell.reason_code) for cell in row.cells.all()} == {("all", None, "no_farms")}


def test_one_that_fails_each_time_stops_after_three(queued, monkeypatch):
    monkeypatch.setattr(making, "decide", lambda *_: 1 / 0)
    for _ in range(3):
        BenchmarkSnapshot.objects.filter(pk=queued.pk).update(leased_until=Now() - timedelta(seconds=1))
        with pytest.raises(ZeroDivisionError):
            making.run(queued.pk)
    assert (now(queued).state, now(queued).attempts) == ("failed", 3)
    assert now(queued).failure.startswith("It was tried 3 times")


def test_whoever_leads_no_more_gets_none(queued, cast):
    ProgramMembership.objects.filter(program=cast.program).delete()
    making.run(queued.pk)
    assert now(queued).state == "failed"
    assert now(queued).failure.startswith("Whoever asked for it does not lead the program any more.")


def test_the_lease_is_renewed_while_the_audit_works_and_one_that_lost_it_stops(queued, monkeypatch):
    held = leases.take_up(BenchmarkSnapshot, queued.pk)
    assert held is not None
    monkeypatch.setattr(making, "_RENEWED_EVERY", -1.0)
    renew = making._renewing(held, now(queued), 5)
    BenchmarkSnapshot.objects.filter(pk=queued.pk).update(leased_until=Now())
    renew()
    assert BenchmarkSnapshot.objects.filter(pk=queued.pk, leased_until__gt=Now() + timedelta(seconds=10)).exists()
    BenchmarkSnapshot.objects.filter(pk=queued.pk).update(attempts=2)
    with pytest.raises(leases.TakenOver):
        renew()
