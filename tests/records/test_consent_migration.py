"""The migration that turns advisers' roles into consents, on tables that hold farms, and back again.

Its statements run as the owner of the tables, in a transaction that is undone.
"""

from __future__ import annotations

import importlib
from collections.abc import Iterator
from typing import Any

import pytest
from django.db import transaction

from vineyard.database_owner import as_owner

pytestmark = pytest.mark.django_db(transaction=True)  # it connects anew, as the owner

MOVED = importlib.import_module("records.migrations.0004_consent").ADVISERS_BY_CONSENT
#: As the tables stood before: any role, and no wall around consents yet.
BEFORE = """
    ALTER TABLE membership DROP CONSTRAINT membership_role_known;
    ALTER TABLE consent NO FORCE ROW LEVEL SECURITY;
"""
FARMS = 40


@pytest.fixture
def ask() -> Iterator[Any]:
    """Give a way to ask the database as the owner of its tables, with farms that have advisers."""
    with as_owner() as owner, owner.cursor() as cursor:

        def ask(sql: str, *arguments: Any) -> list[tuple[Any, ...]]:
            cursor.execute(sql, arguments or None)
            return list(cursor.fetchall()) if cursor.description else []

        with transaction.atomic():
            ask(BEFORE)
            ask(
                "ALTER TABLE membership NO FORCE ROW LEVEL SECURITY; ALTER TABLE farm NO FORCE ROW LEVEL SECURITY;"
                "INSERT INTO person (email, name, password, is_active, is_staff, is_superuser)"
                " SELECT role || '@harrow-vale.example', role, '', true, false, false"
                " FROM unnest('{owner,second,adviser,viewer}'::text[]) AS role"
            )
            ask(
                "INSERT INTO farm (name, region, hemisphere, time_zone)"
                " SELECT 'Farm ' || number, '', 'north', 'Europe/Paris' FROM generate_series(1, %s) AS number",
                FARMS,
            )
            ask(
                "INSERT INTO membership (farm_id, person_id, role, created_digest, received_at)"
                " SELECT farm.id, person.id, CASE person.name WHEN 'second' THEN 'owner' ELSE person.name END, '',"
                "        '2026-01-01'::timestamptz + CASE person.name WHEN 'second' THEN '1 day' ELSE '0' END::interval"
                " FROM farm, person"
            )
            ask(
                "SET CONSTRAINTS ALL IMMEDIATE; ALTER TABLE farm FORCE ROW LEVEL SECURITY;"
                "ALTER TABLE membership FORCE ROW LEVEL SECURITY"
            )
            yield ask
            transaction.set_rollback(True)


def unforced(ask: Any) -> None:
    """Let the owner see every farm's rows, to count them."""
    for table in ("membership", "record_change", "consent"):
        ask(f"ALTER TABLE {table} NO FORCE ROW LEVEL SECURITY")


def roles(ask: Any) -> dict[str, int]:
    return dict(ask("SELECT role, count(*) FROM membership GROUP BY role"))


def test_every_adviser_becomes_a_consent_of_the_first_owner_and_keeps_what_they_had(ask):
    ask(MOVED.sql)
    unforced(ask)
    assert roles(ask) == {"owner": 2 * FARMS, "viewer": FARMS}
    told = ask(
        "SELECT DISTINCT adviser.name, consent.purpose, consent.rights, giver.name, consent.valid_from = '2026-01-01',"
        " consent.valid_until, consent.withdrawn_at FROM consent"
        " JOIN person AS adviser ON adviser.id = person_id JOIN person AS giver ON giver.id = given_by_id"
    )
    assert told == [("adviser", "advice", ["read", "record"], "owner", True, None, None)]
    assert ask("SELECT count(*), count(DISTINCT farm_id) FROM consent") == [(FARMS, FARMS)]


def test_that_they_had_the_role_stays_in_the_history(ask):
    ask(MOVED.sql)
    unforced(ask)
    assert ask("SELECT old_row ->> 'role', count(*) FROM record_change GROUP BY 1") == [("adviser", FARMS)]


def test_the_walls_stand_again_afterwards(ask):
    ask(MOVED.sql)
    forced = ask(
        "SELECT count(*) FROM pg_class WHERE relname IN ('membership', 'record_change') AND relforcerowsecurity"
    )
    assert forced == [(2,)]
    assert ask("SELECT count(*) FROM membership") == [(0,)], "nobody's context is open"


def test_going_back_gives_nobody_more_than_they_have(ask):
    ask(MOVED.sql)
    unforced(ask)
    ask("UPDATE consent SET rights = '{read}' WHERE farm_id IN (SELECT farm_id FROM consent ORDER BY farm_id LIMIT 10)")
    ask(
        "UPDATE consent SET withdrawn_at = now(), withdrawn_by_id = given_by_id"
        " WHERE farm_id IN (SELECT farm_id FROM consent ORDER BY farm_id DESC LIMIT 5)"
    )
    ask("SET CONSTRAINTS ALL IMMEDIATE")
    ask(MOVED.reverse_sql)
    unforced(ask)
    assert roles(ask) == {"owner": 2 * FARMS, "viewer": FARMS + 10, "adviser": FARMS - 15}
