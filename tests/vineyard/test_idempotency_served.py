"""``Idempotency-Key`` on the running service: sent at once, after a restart, and after a process died over it."""

from __future__ import annotations

import os
import time
import uuid
from collections import Counter
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit, urlunsplit

import httpx
import psycopg
import pytest
from django.db import connection, transaction

from records.context import set_context
from records.models import Block
from tests.vineyard.served import ServedApi

pytestmark = [pytest.mark.django_db(transaction=True), pytest.mark.slow]
ROUNDS = 12


@pytest.fixture
def api(players: Any, tmp_path: Path) -> Iterator[ServedApi]:
    served = ServedApi(tmp_path / "api.log")
    yield served
    served.stop()


def post(api: ServedApi, players: Any, key: str, name: str) -> httpx.Response:
    return httpx.post(
        f"{api.url}/api/v1/farms/{players.farm.pk}/blocks",
        json={"name": name},
        headers={"Authorization": f"Bearer {players.owner.key_text}", "Idempotency-Key": key},
        timeout=30,
    )


def names(players: Any) -> Counter[str]:
    with transaction.atomic():
        set_context(farms=[players.farm.pk])
        return Counter(Block.objects.for_farm(players.farm).values_list("name", flat=True))


def test_sixteen_at_once_take_effect_once_and_the_others_are_told_to_wait(api, players):
    """trust.md A4."""
    with ThreadPoolExecutor(16) as pool:
        for number in range(ROUNDS):
            key = str(uuid.uuid4())
            answers = list(
                pool.map(lambda _, key=key, number=number: post(api, players, key, f"Block {number}"), range(16))
            )
            done = [answer for answer in answers if answer.status_code == 201]
            waiting = [answer for answer in answers if answer.status_code == 409]
            assert len(done) + len(waiting) == 16
            assert len({answer.content for answer in done}) == 1
            assert {answer.headers["Retry-After"] for answer in waiting} <= {"1"}
            assert post(api, players, key, f"Block {number}").content == done[0].content
    assert names(players) == {f"Block {number}": 1 for number in range(ROUNDS)}


def test_after_a_restart_the_answer_is_the_same(api, players):
    first = post(api, players, key := str(uuid.uuid4()), "Lower Terrace")
    api.kill_a_worker()
    again = post(api, players, key, "Lower Terrace")
    assert (again.content, again.headers["Idempotent-Replayed"]) == (first.content, "true")
    assert names(players) == {"Lower Terrace": 1}


def test_a_process_that_died_over_a_request_holds_its_key_no_longer(api, players):
    """trust.md A7: its connection is cut after the effect and before the transaction's end."""
    key = str(uuid.uuid4())
    with psycopg.connect(_database()) as holding, psycopg.connect(_database()) as other:
        holding.execute("SELECT pg_advisory_xact_lock(hashtextextended(%s, 0))", [_lock(players, key)])
        told = post(api, players, key, "Lower Terrace")
        assert (told.status_code, told.json()["code"], told.headers["Retry-After"]) == (409, "under_way", "1")
        pid = holding.info.backend_pid
        other.execute("SELECT pg_terminate_backend(%s, 5000)", [pid])
        holding.close()
    assert post(api, players, key, "Lower Terrace").status_code == 201
    assert names(players) == {"Lower Terrace": 1}


def test_a_killed_worker_leaves_no_key_that_hangs(api, players):
    """Whatever the moment of the kill: the request is sent again until it is answered, and took effect once."""
    with ThreadPoolExecutor(8) as pool:
        keys = [str(uuid.uuid4()) for _ in range(40)]
        sent = [pool.submit(_until_answered, api, players, key, f"Block {n}") for n, key in enumerate(keys)]
        for _ in range(2):
            api.kill_a_worker()
        assert {done.result() for done in sent} == {201}
    assert names(players) == {f"Block {number}": 1 for number in range(40)}


def _until_answered(api: ServedApi, players: Any, key: str, name: str) -> int:
    end = time.monotonic() + 60
    while time.monotonic() < end:
        try:
            status = post(api, players, key, name).status_code
        except httpx.HTTPError:
            time.sleep(0.02)
            continue
        if status != 409:
            return status
    return 0


def _database() -> str:
    return urlunsplit(urlsplit(os.environ["DATABASE_URL"])._replace(path=f"/{connection.settings_dict['NAME']}"))


def _lock(players: Any, key: str) -> str:
    from records.api.idempotency import _digest

    path = f"/api/v1/farms/{players.farm.pk}/blocks"
    return f"{players.farm.pk} {players.owner.person.pk} {_digest(['POST', path, key])}"
