"""What the OpenAPI document promises of an answer beside its body is there, for every operation and every person."""

from __future__ import annotations

import uuid
from collections.abc import Mapping
from dataclasses import replace
from typing import Any

import pytest

from tests.faults.operations import document
from tests.test_access_matrix import MATRIX, PEOPLE, Case, ask, cast, scene, stage  # noqa: F401 - fixtures

pytestmark = pytest.mark.django_db

#: Absent where there is nothing to say: a list of one page links to no other.
WHERE_THERE_IS_ONE = {"Link"}


def operations() -> list[tuple[str, str]]:
    return [(method, route) for method, route in MATRIX if route.startswith("api/")]


def told_of(method: str, route: str) -> dict[str, Any]:
    told: dict[str, Any] = document()["paths"][f"/{route}"][method.lower()]
    return told


def answers_named(method: str, route: str) -> Mapping[str, Any]:
    """Give what the document says of each status, shared answers in their place."""
    shared = document()["components"]["responses"]
    answers = told_of(method, route)["responses"]
    return {status: shared.get(said.get("$ref", "").rpartition("/")[2], said) for status, said in answers.items()}


def whoever_may(cast: Any, method: str, route: str) -> Any:  # noqa: F811
    """Give the client of the last of the people whom the operation answers with a success."""
    expected = MATRIX[method, route].expected
    name = [name for name, status in zip(PEOPLE, expected, strict=True) if status < 300][-1]
    return getattr(cast, name).client


@pytest.mark.parametrize(("method", "route"), operations())
def test_every_header_that_the_document_promises_of_an_answer_is_there(method, route, cast, scene):  # noqa: F811
    named = answers_named(method, route)
    for person in PEOPLE:
        client = getattr(cast, person) if person == "nobody" else getattr(cast, person).client
        answer = ask(client, method, route, MATRIX[method, route], scene)
        promised = set(named[str(answer.status_code)].get("headers", {})) - WHERE_THERE_IS_ONE
        assert promised - set(answer.headers) == set(), (person, answer.status_code)


@pytest.mark.parametrize(("method", "route"), [each for each in operations() if each[0] != "GET"])
def test_a_version_is_asked_for_where_the_document_says_so_and_nowhere_else(method, route, cast, scene):  # noqa: F811
    named = [each for each in told_of(method, route).get("parameters", []) if each["name"] == "If-Match"]
    case = replace(MATRIX[method, route], if_match=False)
    answer = ask(whoever_may(cast, method, route), method, route, case, scene)
    assert (answer.status_code == 428) is any(each["required"] for each in named)


def of_what_is_kept() -> list[tuple[str, str]]:
    """Give the operations that answer 304; what is made by a worker first is left to the tests of reports."""
    named = {each: told_of(*each)["responses"] for each in operations()}
    return [each for each, statuses in named.items() if "304" in statuses and "409" not in statuses]


@pytest.mark.parametrize(("method", "route"), of_what_is_kept())
def test_whoever_has_an_answer_is_told_that_it_still_stands(method, route, cast, scene):  # noqa: F811
    client, case = whoever_may(cast, method, route), MATRIX[method, route]
    answer = ask(client, method, route, case, scene)
    again = ask(client, method, route, case, scene, headers={"If-None-Match": answer["ETag"]})
    assert (answer.status_code, again.status_code, again.content) == (200, 304, b"")
    missing = set(answers_named(method, route)["304"]["headers"]) - set(again.headers)
    assert (missing, again["ETag"], "Content-Type" in again) == (set(), answer["ETag"], False)


def forms() -> list[tuple[str, str, str]]:
    """Give every form in which the document says that an operation succeeds."""
    named = {
        (method, route, media): None
        for method, route in operations()
        for status, told in answers_named(method, route).items()
        if status.startswith("2")
        for media in told.get("content", {})
    }
    return list(named)


@pytest.mark.parametrize(("method", "route", "media"), forms())
def test_each_form_that_the_document_names_is_given_to_whoever_accepts_it(method, route, media, cast, scene):  # noqa: F811
    answer = ask(whoever_may(cast, method, route), method, route, MATRIX[method, route], scene, {"Accept": media})
    made_by_a_worker = answer.status_code == 409 and "409" in told_of(method, route)["responses"]  # there is none here
    given = "application/problem+json" if made_by_a_worker else media
    assert answer["Content-Type"].partition(";")[0] == given, answer.content


def test_what_was_made_is_told_as_json_and_whoever_takes_none_makes_nothing(cast, scene):  # noqa: F811
    address = f"/api/v1/farms/{cast.farm.pk}/dormant-records"
    sent = [{**scene.weighing(), "id": str(uuid.uuid4())} for _ in range(2)]
    refused, stored = (
        cast.worker.client.post(address, body, format="json", headers={"Accept": accepted})
        for body, accepted in zip(sent, ("text/csv", "text/csv, application/json;q=0.5"), strict=True)
    )
    assert (refused.status_code, stored.status_code, stored.json()["id"]) == (406, 201, sent[1]["id"])
    assert cast.worker.client.get(f"{address}/{sent[0]['id']}").status_code == 404


def lists() -> list[tuple[str, str]]:
    return [each for each in operations() if "Link" in answers_named(*each).get("200", {}).get("headers", {})]


@pytest.mark.parametrize(("method", "route"), lists())
def test_the_next_page_that_an_answer_names_stands_in_link_too(method, route, cast, scene):  # noqa: F811
    case = MATRIX[method, route]
    one_a_page = replace(case, query=f"{case.query}&limit=1".lstrip("&"))
    answer = ask(whoever_may(cast, method, route), method, route, one_a_page, scene)
    following = answer.json()["next"]
    assert (f'<{following}>; rel="next"' in answer.headers.get("Link", "")) is (following is not None)


@pytest.mark.parametrize("route", sorted({route for _, route in operations()}))
def test_a_method_that_is_not_taken_is_answered_with_those_that_the_document_names(route, cast, scene):  # noqa: F811
    named = {method for method, each in operations() if each == route}
    bare = Case((), ids=MATRIX[min(named), route].ids)
    for method in ("PUT", *({"GET", "POST", "PATCH", "DELETE"} - named)):
        answer = ask(cast.owner.client, method, route, bare, scene)
        assert answer.status_code == 405, (method, answer.content)
        assert set(answer["Allow"].split(", ")) - {"HEAD", "OPTIONS"} == named, method
