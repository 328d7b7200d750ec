"""Failures of the service's own parts are problems, too: what happened, whether to try again, nothing of the inside."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest
from django.db import DataError, IntegrityError, InternalError, OperationalError
from django.test import RequestFactory
from psycopg.errors import IdleInTransactionSessionTimeout

from records.api.farms import Me
from records.errors import Refusal
from vineyard.api.errors import REFUSALS, problem_handler
from vineyard.api.middleware import RequestId
from vineyard.api.problems import KINDS

ROOT = Path(__file__).resolve().parents[3]


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


def idled_too_long() -> InternalError:
    """Give what Django raises when the database has ended a transaction that waited for its process."""
    error = InternalError("secret state")
    error.__cause__ = IdleInTransactionSessionTimeout("secret state")
    return error


@pytest.mark.django_db
@pytest.mark.parametrize(
    ("exception", "status", "code"),
    [
        (OperationalError("secret host"), 503, "unavailable"),
        (idled_too_long(), 503, "unavailable"),
        (InternalError("secret state"), 500, "internal_error"),
        (DataError("secret value"), 422, "not_valid"),
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


def test_with_the_database_away_what_needs_it_is_503_and_the_rest_answers():
    """A process of its own, whose database is at a port where nobody listens."""
    script = (
        "import django; django.setup(); from django.test import Client; c = Client(raise_request_exception=False)\n"
        "for path in ('/livez', '/', '/problems', '/openapi.json', '/readyz', '/api/v1/me', '/api/v1/formulas'):\n"
        "    answer = c.get(path, headers={'Accept': 'application/json'})\n"
        "    print(path, answer.status_code, answer.headers.get('Retry-After'))\n"
    )
    away = {
        "DATABASE_URL": "postgresql://app@127.0.0.1:1/vineyard", "BROKER_URL": "redis://127.0.0.1:1/0",
        "SECRET_KEY": "x" * 50, "DJANGO_SETTINGS_MODULE": "vineyard.settings", "ALLOWED_HOSTS": "testserver",
    }  # fmt: skip
    argv = [sys.executable, "-c", script]
    ended = subprocess.run(
        argv, cwd=ROOT, env={**os.environ, **away}, capture_output=True, text=True, timeout=60, check=True
    )
    assert ended.stdout.splitlines() == [
        "/livez 200 None", "/ 200 None", "/problems 200 None", "/openapi.json 200 None",
        "/readyz 503 5", "/api/v1/me 503 2", "/api/v1/formulas 503 2",
    ]  # fmt: skip
