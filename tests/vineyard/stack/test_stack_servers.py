"""What the servers promise: roles that cannot look over the walls, and records that survive."""

from __future__ import annotations

import psycopg
import pytest
import redis

from tests.vineyard.stack.looking import query
from vineyard.stack import Stack

RIGHTS = "SELECT rolsuper, rolbypassrls, rolcreaterole, rolreplication, rolcreatedb FROM pg_roles WHERE rolname = current_user"


@pytest.fixture(scope="module")
def environments(made):
    """The environment of a stack for records, and the rights that the owner had in the same one for tests."""
    with Stack(made, fast=True) as stack:
        rights = query(stack.environment(), RIGHTS, as_owner=True)
    with Stack(made) as stack:
        yield stack.environment(), rights


@pytest.fixture(scope="module")
def environment(environments):
    return environments[0]


def test_the_serving_role_has_no_right_of_its_own(environment):
    assert query(environment, RIGHTS) == [(False,) * 5]
    assert query(
        environment,
        "SELECT pg_catalog.pg_get_userbyid(datdba)::text FROM pg_database WHERE datname = current_database()",
    ) == [("vineyard_owner",)]


@pytest.mark.parametrize("statement", ["CREATE TABLE mine (id int)", "CREATE SCHEMA mine", "CREATE EXTENSION citext"])
def test_the_serving_role_makes_nothing(statement, environment):
    with pytest.raises(psycopg.errors.InsufficientPrivilege):
        query(environment, statement)


def test_the_owner_makes_tables_that_the_serving_role_may_use_once_granted(environment):
    query(environment, "CREATE TABLE leaf (id int)", as_owner=True)
    with pytest.raises(psycopg.errors.InsufficientPrivilege):
        query(environment, "SELECT * FROM leaf")
    query(environment, "GRANT SELECT ON leaf TO vineyard_app", as_owner=True)
    assert query(environment, "SELECT * FROM leaf") == []


def test_the_owner_may_make_databases_for_tests_only(environments):
    environment, before = environments
    assert before == [(False, False, False, False, True)]
    assert query(environment, RIGHTS, as_owner=True) == [(False,) * 5]


@pytest.mark.parametrize("option", ["fsync", "synchronous_commit", "full_page_writes", "data_checksums"])
def test_what_is_acknowledged_survives_a_crash(option, environment):
    assert query(environment, f"SHOW {option}") == [("on",)]


@pytest.mark.parametrize(
    ("option", "value"), [("timezone", "UTC"), ("listen_addresses", ""), ("server_encoding", "UTF8")]
)
def test_every_machine_gets_the_same_server(option, value, environment):
    assert query(environment, f"SHOW {option}") == [(value,)]


def test_text_sorts_the_same_on_every_machine(environment):
    found = query(
        environment, "SELECT datlocprovider::text, datlocale FROM pg_database WHERE datname = current_database()"
    )
    assert found == [("b", "C.UTF-8")]


def test_broker_and_cache_are_two_databases_of_one_server(environment):
    cache = redis.Redis.from_url(environment["CACHE_URL"])
    cache.set("word", "spur")
    assert (cache.dbsize(), redis.Redis.from_url(environment["CACHE_URL"].replace("db=1", "db=0")).dbsize()) == (1, 0)
    assert environment["BROKER_URL"] == environment["CACHE_URL"].replace("unix:", "redis+socket:").replace(
        "db=1", "virtual_host=0"
    )
