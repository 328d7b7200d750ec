"""Pages for people and watchers: where to begin, what a problem means, whether the service is ready."""

from __future__ import annotations

import pytest
from django.db import InterfaceError, OperationalError

from vineyard import health
from vineyard.api.problems import KINDS

pytestmark = pytest.mark.django_db


def test_the_landing_page_says_how_to_begin_and_what_to_mind(client):
    page = client.get("/", headers={"Accept": "text/html"})
    assert page.headers["Content-Type"].startswith("text/html")
    for words in ("/docs", "/openapi.json", "balance/targets", "Guide only"):
        assert words in page.content.decode()


def test_a_program_gets_the_landing_page_as_json(client):
    told = client.get("/", headers={"Accept": "application/json"}).json()
    assert told["openapi"].endswith("/openapi.json")


@pytest.mark.parametrize("code", KINDS)
def test_the_type_of_every_problem_is_the_address_of_its_explanation(code, client):
    page = client.get("/" + KINDS[code].address.split("/", 3)[3])
    assert KINDS[code].title in page.content.decode()


@pytest.mark.parametrize("path", ["/", "/problems", "/problems/stale", "/docs", "/redoc"])
def test_every_page_may_load_from_here_alone(path, client):
    policy = client.get(path).headers["Content-Security-Policy"]
    assert "default-src 'self'" in policy
    assert "http" not in policy


def test_alive_asks_nothing_of_anybody(client, django_assert_num_queries):
    with django_assert_num_queries(0):
        assert client.get("/livez").json() == {"status": "alive"}


def test_ready_names_what_it_looked_at(client):
    assert client.get("/readyz").json() == {
        "status": "ready",
        "checks": {"database": "ok", "migrations": "ok", "broker": "ok"},
    }


@pytest.mark.parametrize("kind", [OperationalError, InterfaceError])
def test_not_ready_names_the_part_that_is_away_and_nothing_of_the_inside(kind, client, monkeypatch):
    def away() -> None:
        raise kind("host 10.0.0.5 said no")

    monkeypatch.setitem(health.CHECKS, "database", away)
    answer = client.get("/readyz")
    assert (answer.status_code, answer.headers["Retry-After"]) == (503, "5")
    assert answer.json()["checks"] == {"database": "away", "migrations": "ok", "broker": "ok"}
    assert b"10.0.0.5" not in answer.content
