"""The service serves as a role that the walls between farms hold, or not at all."""

from __future__ import annotations

import os
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any
from wsgiref.util import setup_testing_defaults

import psycopg
import pytest
from django.db import connection

from vineyard.database_role import SafeRole, UnsafeRole, refuse_unsafe_role

pytestmark = pytest.mark.django_db(transaction=True)  # it connects anew, as other roles

ROLES = {
    "probe_plain": "LOGIN",
    "probe_superuser": "LOGIN SUPERUSER",
    "probe_bypassing": "LOGIN BYPASSRLS",
    "probe_through_owner": "LOGIN IN ROLE vineyard_owner",
    "probe_through_superuser": "LOGIN NOINHERIT IN ROLE probe_superuser",
}


@pytest.fixture
def roles() -> Iterator[None]:
    """Roles of every unsafe kind, made by the superuser of the tests' own PostgreSQL."""
    superuser = os.environ.get("DATABASE_OWNER_URL", "").replace("vineyard_owner@", "postgres@")
    if "postgres@" not in superuser:
        pytest.skip("needs the superuser of the tests' own PostgreSQL")
    with psycopg.connect(superuser, autocommit=True) as made:
        for name in reversed(ROLES):
            made.execute(f"DROP ROLE IF EXISTS {name}")
        for name, rights in ROLES.items():
            made.execute(f"CREATE ROLE {name} {rights}")
        yield
        for name in reversed(ROLES):
            made.execute(f"DROP ROLE {name}")


@contextmanager
def connected(**settings: str) -> Iterator[None]:
    """Connect differently for a while."""
    before = dict(connection.settings_dict)
    connection.close()
    connection.settings_dict.update(settings)
    try:
        yield
    finally:
        connection.close()
        connection.settings_dict.update(before)


@pytest.mark.parametrize(
    ("role", "reason"),
    [
        ("probe_superuser", "is a superuser"),
        ("probe_bypassing", "bypasses row-level security"),
        ("vineyard_owner", "owns the tables"),
        ("probe_through_owner", "owns the tables, itself or through a role"),
        ("probe_through_superuser", "belongs to a role that is a superuser"),
    ],
)
def test_a_role_that_could_look_over_the_walls_is_refused_with_the_reason(role, reason, roles):
    with connected(USER=role), pytest.raises(UnsafeRole, match=f"'{role}', which .*{reason}"):
        refuse_unsafe_role()


@pytest.mark.parametrize("role", ["vineyard_app", "probe_plain"])
def test_a_role_without_these_rights_serves(role, roles):
    with connected(USER=role):
        refuse_unsafe_role()


def status(application: SafeRole, path: str) -> str:
    """Ask the application as a server does."""
    environ: dict[str, Any] = {"PATH_INFO": path}
    setup_testing_defaults(environ)
    told: list[str] = []
    list(application(environ, lambda line, *_: told.append(line)))  # type: ignore[arg-type]
    return told[0][:3]


@pytest.fixture
def guarded() -> SafeRole:
    def serves(_: Any, start_response: Any) -> list[bytes]:
        start_response("200 OK", [])
        return []

    return SafeRole(serves)


def test_a_database_that_was_away_at_the_start_is_no_way_round_the_look(guarded, roles):
    with connected(HOST="127.0.0.1", PORT="1"):
        assert guarded.look() is False
        assert [status(guarded, path) for path in ("/api/v1/farms", "/livez")] == ["503", "200"]
    with connected(USER="probe_superuser"):
        assert status(guarded, "/api/v1/farms") == "503"
    assert status(guarded, "/api/v1/farms") == "200"


def test_a_role_that_was_seen_safe_is_not_looked_at_again(guarded):
    assert guarded.look() is True
    with connected(HOST="127.0.0.1", PORT="1"):
        assert status(guarded, "/api/v1/farms") == "200"
