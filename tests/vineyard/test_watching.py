"""What is counted and logged of requests that do not come one by one through Django."""

from __future__ import annotations

import logging

import pytest
from prometheus_client import REGISTRY

from vineyard.api.watching import note_refusal
from vineyard.calling import Answer
from vineyard.combining import COMBINED

pytestmark = pytest.mark.django_db


def counted(route: str, status: str, method: str = "GET") -> tuple[float, float]:
    """Give how many requests were counted, and how many timed."""
    labels = {"route": route, "method": method}
    requests = REGISTRY.get_sample_value("vineyard_requests_total", {**labels, "status": status}) or 0
    return requests, REGISTRY.get_sample_value("vineyard_request_seconds_count", labels) or 0


def test_requests_that_were_carried_out_together_are_counted_each_and_logged_in_one_line(client, caplog):
    before = counted("/livez", "2xx")
    with caplog.at_level(logging.INFO, logger="vineyard.request"):
        client.get("/livez", **{COMBINED: 3})
    assert [after - then for after, then in zip(counted("/livez", "2xx"), before, strict=True)] == [3, 3]
    assert [record.facts["requests"] for record in caplog.records] == [3]


def test_a_try_that_is_thrown_away_because_one_of_them_was_bad_is_not_counted(client):
    before = counted("/livez", "4xx", "POST")
    client.post("/livez", **{COMBINED: 3})
    assert counted("/livez", "4xx", "POST") == before
    client.post("/livez", **{COMBINED: 1})
    assert counted("/livez", "4xx", "POST")[0] == before[0] + 1


def refused(method: str, path: str, request_id: str) -> None:
    environ = {"REQUEST_METHOD": method, "PATH_INFO": path}
    note_refusal(environ, Answer(408, [("X-Request-ID", request_id)], b""))


def test_a_request_that_is_refused_at_the_front_is_counted_and_has_its_line(caplog):
    route = "/api/v1/farms/{farm}/records"
    before = counted(route, "4xx", "POST")
    with caplog.at_level(logging.INFO, logger="vineyard.request"):
        refused("POST", "/api/v1/farms/01991b5e-0000-7000-8000-0000000d0001/records", "r-1")
    assert counted(route, "4xx", "POST") == (before[0] + 1, before[1])
    facts = [record.facts for record in caplog.records]
    assert facts == [{"request_id": "r-1", "method": "POST", "route": route, "status": 408}]


def test_no_label_is_made_of_an_invented_address_or_method():
    before = counted("(none)", "4xx", "other")
    refused("BREW", "/nowhere/\xff", "r-2")
    assert counted("(none)", "4xx", "other")[0] == before[0] + 1
