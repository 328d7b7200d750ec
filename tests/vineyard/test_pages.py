"""Pages for people: where to begin and what a problem means."""

from __future__ import annotations

import pytest

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
