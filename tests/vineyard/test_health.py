"""Alive, ready, degraded: what a watcher is told of each part, in sentences that give nothing of the inside away."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from datetime import timedelta
from typing import Any
from uuid import uuid4

import pytest
import redis
from django.db import InterfaceError, OperationalError
from django.utils import timezone

from vineyard import health, heartbeat
from vineyard.database_owner import as_owner

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def alive() -> Iterator[None]:
    """Scheduler and worker gave a sign of life."""
    for part in ("scheduler", "worker"):
        heartbeat.beat(part)
    yield
    health._LAST.clear()


def silence(part: str) -> None:
    client = heartbeat.broker_client()
    client.delete(f"vineyard:alive:{part}")
    client.close()


def failing(monkeypatch: pytest.MonkeyPatch, name: str, failure: Exception) -> None:
    def fail() -> None:
        raise failure

    monkeypatch.setitem(health.CHECKS, name, replace(health.CHECKS[name], look_at=fail))


def states(answer: Any) -> dict[str, str]:
    return {name: check["state"] for name, check in answer.json()["checks"].items() if check["state"] != "ok"}


def test_alive_asks_nothing_of_anybody(client, django_assert_num_queries):
    with django_assert_num_queries(0):
        assert client.get("/livez").json() == {"status": "alive"}


def test_ready_says_a_sentence_of_each_part_it_looked_at(client):
    told = client.get("/readyz").json()
    assert told["status"] == "ready"
    assert list(told["checks"]) == ["database", "migrations", "role", "broker", "queue", "scheduler", "worker"]
    assert all(check["state"] == "ok" and check["sentence"].endswith(".") for check in told["checks"].values())


@pytest.mark.parametrize("kind", [OperationalError, InterfaceError])
def test_without_a_database_it_is_unready_and_tells_nothing_of_the_inside(kind, client, monkeypatch):
    failing(monkeypatch, "database", kind("host 10.0.0.5 said no"))
    answer = client.get("/readyz")
    assert (answer.status_code, answer.headers["Retry-After"]) == (503, "5")
    assert answer.json()["detail"] == "Not ready. The database does not answer."
    assert states(answer) == {"database": "away"}
    assert b"10.0.0.5" not in answer.content


def test_a_missing_migration_makes_it_unready(client, monkeypatch):
    from django.db.migrations.recorder import MigrationRecorder

    monkeypatch.setattr(health, "_MIGRATED", [])
    known = MigrationRecorder.applied_migrations
    monkeypatch.setattr(
        MigrationRecorder,
        "applied_migrations",
        lambda self: {k: v for k, v in known(self).items() if k[0] != "balance"},
    )
    answer = client.get("/readyz")
    assert (answer.status_code, states(answer)) == (503, {"migrations": "away"})


@pytest.mark.django_db(transaction=True)
def test_a_role_that_the_walls_do_not_hold_makes_it_unready_and_is_not_named(client):
    with as_owner() as connection:
        answer = client.get("/readyz")
        owner = connection.settings_dict["USER"]
    assert (answer.status_code, states(answer)) == (503, {"role": "away"})
    assert owner.encode() not in answer.content


def test_without_a_broker_it_is_degraded_and_goes_on_serving(client, monkeypatch, settings):
    settings.BROKER_URL = "redis://127.0.0.1:1/0"
    answer = client.get("/readyz")
    assert (answer.status_code, answer.json()["status"]) == (200, "degraded")
    assert states(answer) == dict.fromkeys(("broker", "scheduler", "worker"), "degraded")
    assert answer.json()["checks"]["broker"]["sentence"] == health.NO_BROKER


def test_a_broker_that_hangs_is_no_broker(client, monkeypatch):
    failing(monkeypatch, "broker", redis.TimeoutError())
    assert states(client.get("/readyz")) == {"broker": "degraded"}


@pytest.mark.parametrize("part", ["scheduler", "worker"])
def test_a_part_that_fell_silent_is_named(part, client):
    silence(part)
    answer = client.get("/readyz")
    assert (answer.status_code, states(answer)) == (200, {part: "degraded"})
    assert part in answer.json()["checks"][part]["sentence"]


def ticket_waiting(seconds: float) -> None:
    from records.models import JobTicket

    JobTicket.objects.create(job_id=uuid4(), farm_id=uuid4(), leased_until=timezone.now() - timedelta(seconds=seconds))


@pytest.mark.parametrize(("waited", "expected"), [(60, {}), (3600, {"queue": "degraded"})])
def test_a_job_that_waits_for_longer_than_the_limit_is_seen(waited, expected, client, settings):
    settings.OLDEST_JOB_SECONDS = 900
    ticket_waiting(waited)
    answer = client.get("/readyz")
    assert (answer.status_code, states(answer)) == (200, expected)


def test_the_metrics_tell_how_long_the_oldest_job_has_waited(client):
    for seconds in (3600, -10, -86_400):  # waits, is held by a worker, is not due before tomorrow
        ticket_waiting(seconds)
    told = client.get("/metrics").content.decode()
    age = next(line for line in told.splitlines() if line.startswith("vineyard_oldest_waiting_job_seconds "))
    assert 3599 < float(age.split()[1]) < 3700
    for state in ("waiting", "running", "later"):
        assert f'vineyard_jobs{{state="{state}"}} 1.0' in told


def test_with_a_token_the_metrics_ask_for_it_from_everybody(client, settings):
    settings.METRICS_TOKEN = "a token of twenty-four letters"
    assert client.get("/metrics").status_code == 404
    assert client.get("/metrics", headers={"Authorization": "Bearer another token of some length"}).status_code == 404
    right = {"Authorization": f"Bearer {settings.METRICS_TOKEN}", "X-Forwarded-For": "203.0.113.9"}
    assert client.get("/metrics", headers=right).status_code == 200


@pytest.mark.parametrize(
    "told",
    [{"REMOTE_ADDR": "203.0.113.9"}, {"REMOTE_ADDR": ""}, {"HTTP_X_REAL_IP": "127.0.0.1"}, {"HTTP_VIA": "1.1 x"}],
)
def test_without_a_token_only_this_machine_reads_the_metrics(told, client):
    assert client.get("/metrics").status_code == 200
    assert client.get("/metrics", **told).status_code == 404


def test_behind_https_the_peer_is_the_proxy_so_only_a_token_opens_the_metrics(client, settings):
    settings.PUBLIC_URL = "https://vineyard.example"
    assert client.get("/metrics").status_code == 404


def test_a_change_for_the_worse_is_logged_once_and_not_at_every_look(client, monkeypatch, caplog):
    failing(monkeypatch, "broker", redis.ConnectionError("to redis://:secret@10.0.0.5"))
    with caplog.at_level("WARNING", logger="vineyard.health"):
        for _ in range(3):
            client.get("/readyz")
    assert [record.getMessage() for record in caplog.records] == ["broker is degraded (ConnectionError)"]
