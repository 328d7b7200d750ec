"""Failures of the service's own parts are problems, too: what happened, whether to try again, nothing of the inside."""

from __future__ import annotations

from typing import Any

import pytest
from django.db import DataError, IntegrityError, OperationalError
from django.test import RequestFactory

from records.api.farms import Me
from records.errors import Refusal
from vineyard.api.errors import REFUSALS, problem_handler
from vineyard.api.middleware import RequestId
from vineyard.api.problems import KINDS


@pytest.fixture
def broken(cast: Any, monkeypatch: pytest.MonkeyPatch) -> Any:
    """Give a way to make an endpoint fail with any exception."""

    def fail_with(exception: Exception) -> Any:
        def fail(*_: Any) -> None:
            raise exception

        monkeypatch.setattr(Me, "get", fail)
        cast.owner.client.raise_request_exception = False
        return cast.owner.client.get("/api/v1/me")

    return fail_with


@pytest.mark.django_db
@pytest.mark.parametrize(
    ("exception", "status", "code"),
    [
        (OperationalError("secret host"), 503, "unavailable"),
        (DataError("secret value"), 400, "bad_request"),
        (IntegrityError("secret row"), 409, "conflict"),
        (RuntimeError("secret inside"), 500, "internal_error"),
    ],
)
def test_a_failure_inside_is_a_problem_that_tells_nothing_of_the_inside(exception, status, code, broken):
    answer = broken(exception)
    assert (answer.status_code, answer.json()["code"]) == (status, code)
    assert answer.headers["Content-Type"] == "application/problem+json"
    assert b"secret" not in answer.content
    assert (status == 503) == ("Retry-After" in answer.headers)


def test_whatever_escapes_everything_else_is_caught_by_the_last_net():
    def escape(_: Any) -> Any:
        raise MemoryError("secret")

    answer = RequestId(escape)(RequestFactory().get("/api/v1/me"))
    assert (answer.status_code, answer["Content-Type"]) == (500, "application/problem+json")


def test_every_refusal_of_ours_has_its_kind_of_problem():
    def family(of: type[Refusal]) -> set[type[Refusal]]:
        return {of, *(each for child in of.__subclasses__() for each in family(child))}

    assert family(Refusal) == set(REFUSALS)
    assert set(REFUSALS.values()) <= set(KINDS)


def test_an_exception_that_is_nobodys_is_left_to_the_last_net():
    assert problem_handler(MemoryError(), {}) is None
