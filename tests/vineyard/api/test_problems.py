"""Every failure is one problem, in one form, at its place: wherever it came from, whatever the view speaks."""

from __future__ import annotations

import logging
from typing import Any

import pytest
from rest_framework.test import APIClient

from records.models import Person, ProgramMembership

pytestmark = [pytest.mark.django_db, pytest.mark.urls("tests.vineyard.api.probe_urls")]
PROBLEM = "application/problem+json"


@pytest.fixture
def client() -> APIClient:
    return APIClient(raise_request_exception=False)


def problem(answer: Any, status: int) -> dict[str, Any]:
    assert (answer.status_code, answer.headers["Content-Type"]) == (status, PROBLEM)
    assert b"secret" not in answer.content
    body: dict[str, Any] = answer.json()
    assert body["request_id"] == answer.headers["X-Request-ID"]
    return body


@pytest.mark.parametrize(
    ("name", "status", "code"),
    [
        ("throttled", 429, "too_many_requests"),
        ("parse-error", 400, "bad_request"),
        ("not-found", 404, "not_found"),
        ("permission", 403, "not_allowed"),
        ("suspicious", 400, "bad_request"),
        ("too-big", 413, "too_large"),
        ("stale", 412, "stale"),
        ("not-valid", 422, "not_valid"),
        ("slow-statement", 503, "unavailable"),
        ("taken-email", 409, "conflict"),
    ],
)
def test_each_failure_has_its_status_and_code(name, status, code, client):
    body = problem(client.post(f"/probe/fails/{name}"), status)
    assert (body["status"], body["code"], body["instance"]) == (status, code, f"/probe/fails/{name}")
    assert body["type"].endswith(f"/problems/{code.replace('_', '-')}")


def test_what_failed_leaves_nothing_behind(client):
    client.post("/probe/fails/taken-email")
    assert not Person.objects.filter(email="twice@harrow-vale.example").exists()


@pytest.mark.parametrize(("name", "seconds"), [("throttled", "1"), ("slow-statement", "2")])
def test_a_caller_who_should_try_again_is_told_in_whole_seconds_when(name, seconds, client):
    assert client.post(f"/probe/fails/{name}").headers["Retry-After"] == seconds


def test_a_stale_change_is_answered_with_the_version_that_stands(client):
    answer = client.post("/probe/fails/stale")
    assert (answer.headers["ETag"], answer.json()["current_version"]) == ('"3"', 3)


def test_a_pointer_escapes_what_json_pointer_escapes(client):
    """RFC 6901, section 3: a slash in a name is ~1."""
    assert client.post("/probe/fails/not-valid").json()["errors"][0]["pointer"] == "#/rows/0/pruning~1weight"


@pytest.mark.parametrize(("view", "accept"), [("yaml", "application/yaml"), ("page", "text/html")])
def test_a_view_of_another_form_still_answers_its_problems_as_json(view, accept, client):
    problem(client.post(f"/probe/fails-as-{view}/not-found", headers={"Accept": accept}), 404)
    problem(client.post(f"/probe/fails-as-{view}/not-found", headers={"Accept": "text/csv"}), 406)
    problem(client.get(f"/probe/fails-as-{view}/not-found", headers={"Accept": accept}), 405)


@pytest.mark.parametrize("path", ["/", "/livez", "/readyz", "/problems", "/docs", "/redoc", "/openapi.yaml", "/static/vineyard/page.css"])  # fmt: skip
def test_a_method_that_a_page_does_not_take_is_a_problem_that_says_which_it_takes(path, client):
    answer = client.post(path)
    problem(answer, 405)
    assert "GET" in answer.headers["Allow"]


@pytest.mark.parametrize(
    "path", ["/static/nothing.css", "/problems/nothing", "/docs/", "/api", "/api/v1/", "/api/v1/%ff"]
)
def test_an_address_beside_the_api_is_a_404_problem_too(path, client):
    problem(client.get(path), 404)


def test_a_host_that_is_not_ours_is_400(client):
    problem(client.get("/livez", headers={"Host": "elsewhere.example"}), 400)


@pytest.mark.parametrize(
    ("headers", "status", "header"),
    [({"Accept": "text/csv"}, 406, "Accept"), ({"Content-Type": "text/plain"}, 415, "Content-Type")],
)
def test_a_header_at_fault_is_named(headers, status, header, client):
    answer = client.generic("POST", "/probe/anything", b"{}", headers={"Content-Type": "application/json", **headers})
    assert problem(answer, status)["errors"][0]["header"] == header


@pytest.mark.parametrize(
    ("path", "headers", "named"),
    [
        ("templates/shoot_count.csv", {"Accept": "application/json"}, ["text/csv"]),
        ("balance/spur-plan", {"Accept": "text/csv"}, ["application/json", "image/svg+xml"]),
        ("balance/targets", {"Content-Type": "text/plain"}, ["'text/plain'", "application/json"]),
        ("balance/targets", {"Content-Type": ""}, ["no Content-Type", "application/json"]),
    ],
)
def test_a_form_that_an_address_does_not_speak_is_answered_with_those_that_it_does(path, headers, named, client):
    method = "GET" if path.startswith("templates") else "POST"
    sent = {"Content-Type": "application/json", **headers}
    answer = client.generic(method, f"/api/v1/{path}", b"{}", content_type=sent.pop("Content-Type"), headers=sent)
    detail = problem(answer, 406 if "Accept" in headers else 415)["detail"]
    assert [word for word in named if word not in detail] == []


def test_a_caller_without_a_key_is_told_how_to_send_one(client):
    assert "Authorization: Bearer" in problem(client.get("/api/v1/me"), 401)["detail"]


def test_a_change_without_if_match_names_the_header(cast):
    answer = cast.owner.client.patch(f"/api/v1/farms/{cast.farm.pk}", {"region": "Harrow Vale"}, format="json")
    assert problem(answer, 428)["errors"][0]["header"] == "If-Match"


def test_a_constraint_without_a_sentence_is_409_and_an_error_in_the_log(client, caplog):
    with caplog.at_level(logging.ERROR, "vineyard.api"):
        body = problem(client.post("/probe/fails/taken-email"), 409)
    assert "has no sentence" in caplog.text
    assert "harrow-vale" not in str(body)


@pytest.mark.django_db(transaction=True)
def test_a_constraint_that_speaks_only_when_the_transaction_ends_is_a_409_as_well(client):
    problem(client.post("/probe/fails/deferred-reference"), 409)
    assert not ProgramMembership.objects.exists()


ROW = {"name": "a"}


@pytest.mark.parametrize(
    ("rows", "pointers"),
    [
        ([{"name": 7}, ROW], ["#/0/name"]),
        ([ROW, {"name": 7}], ["#/1/name"]),
        ([{}], ["#/0/name"]),
        ([{"nmae": "a"}], ["#/0/nmae"]),
        ([{**ROW, "weight": {"value": "x"}}], ["#/0/weight/value"]),
        ([{"name": 7}, ROW, {"name": 7, "count": -1}], ["#/0/name", "#/2/name", "#/2/count"]),
        ([7], ["#/0"]),
        ({}, ["#"]),
    ],
)
def test_an_error_in_a_list_is_named_by_its_row_row_0_included(rows, pointers, client):
    answer = client.post("/probe/rows", rows, format="json")
    assert [error["pointer"] for error in problem(answer, 400)["errors"]] == pointers


def test_an_error_in_a_list_inside_the_body_is_named_by_member_and_row(client):
    errors = problem(client.post("/probe/wrapped", {"rows": [{"name": 7}]}, format="json"), 400)["errors"]
    assert errors[0]["pointer"] == "#/rows/0/name"
