"""PostgreSQL has no connection left: a quick 503 with the way out, and everything again when there is one."""

from __future__ import annotations

import os
import time
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import ExitStack
from pathlib import Path
from typing import Any

import httpx
import psycopg
import pytest
from django.db import connection

from tests.vineyard.served import ServedApi

pytestmark = [pytest.mark.django_db(transaction=True), pytest.mark.slow]
AT_ONCE = 32


@pytest.fixture
def api(players: Any, tmp_path: Path) -> Iterator[ServedApi]:
    served = ServedApi(tmp_path / "api.log")
    yield served
    served.stop()


def ask_many(api: ServedApi, players: Any) -> list[httpx.Response]:
    def ask(player: Any, farm: Any) -> httpx.Response:
        headers = {"Authorization": f"Bearer {player.key_text}"}
        return httpx.get(f"{api.url}/api/v1/farms/{farm.pk}/blocks", headers=headers, timeout=20)

    askers = [(players.owner, players.farm), (players.stranger, players.other_farm)] * (AT_ONCE // 2)
    with ThreadPoolExecutor(AT_ONCE) as pool:
        return list(pool.map(lambda asker: ask(*asker), askers))


def take_every_connection(held: ExitStack) -> None:
    """Connect as the serving role until PostgreSQL takes no more."""
    for _ in range(1_000):
        try:
            held.enter_context(psycopg.connect(os.environ["DATABASE_URL"], autocommit=True))
        except psycopg.OperationalError:
            return
    pytest.fail("PostgreSQL takes connections without end")


def test_without_a_connection_left_it_is_503_at_once_and_comes_back_by_itself(api, players):
    """trust.md C6."""
    with ExitStack() as held:
        take_every_connection(held)
        meanwhile = ask_many(api, players)
    refused = [answer for answer in meanwhile if answer.status_code != 200]
    assert refused
    for answer in refused:
        assert (answer.status_code, answer.headers["Content-Type"]) == (503, "application/problem+json")
        assert answer.json()["code"] == "unavailable"
        assert int(answer.headers["Retry-After"]) <= 2
    end = time.monotonic() + 5
    while (statuses := {answer.status_code for answer in ask_many(api, players)}) != {200} and time.monotonic() < end:
        time.sleep(0.2)
    assert statuses == {200}
    with connection.cursor() as cursor:
        cursor.execute("SELECT count(*) FROM pg_stat_activity WHERE state LIKE 'idle in transaction%'")
        assert cursor.fetchone() == (0,)


def test_all_threads_together_hold_no_more_connections_than_there_are_threads(api, players):
    """Two processes of sixteen threads; the others who ask wait for a thread, not for a connection."""
    for _ in range(3):
        assert {answer.status_code for answer in ask_many(api, players)} == {200}
    with connection.cursor() as cursor:
        cursor.execute(
            "SELECT count(*) FROM pg_stat_activity WHERE application_name = 'vineyard' AND pid <> pg_backend_pid()"
        )
        (connections,) = cursor.fetchone()
    assert 2 <= connections <= 32
