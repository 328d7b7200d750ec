"""Rate limits on the running service: two worker processes count as one."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import Any

import httpx
import pytest

from tests.vineyard.served import ServedApi

pytestmark = [pytest.mark.django_db(transaction=True), pytest.mark.slow]
Serve = Callable[..., ServedApi]


@pytest.fixture
def serve(tmp_path: Path) -> Iterator[Serve]:
    running: list[ServedApi] = []

    def start(**settings: str) -> ServedApi:
        running.append(ServedApi(tmp_path / "api.log", **settings))
        return running[-1]

    yield start
    for api in running:
        api.stop()


def ask(api: ServedApi, player: Any, farm: Any) -> httpx.Response:
    headers = {"Authorization": f"Bearer {player.key_text}"}
    return httpx.get(f"{api.url}/api/v1/farms/{farm.pk}", headers=headers, timeout=30)


def test_of_four_times_as_many_at_once_exactly_so_many_pass_and_a_new_worker_changes_nothing(players, serve):
    """trust.md C5."""
    api = serve(RATE_LIMIT_KEY="20/86400")
    with ThreadPoolExecutor(16) as pool:
        answers = list(pool.map(lambda _: ask(api, players.owner, players.farm), range(80)))
    assert Counter(answer.status_code for answer in answers) == {200: 20, 429: 60}
    assert all(int(answer.headers["Retry-After"]) > 0 for answer in answers if answer.status_code == 429)
    api.kill_a_worker()
    assert [ask(api, players.owner, players.farm).status_code for _ in range(6)] == [429] * 6


def test_while_one_farm_floods_another_is_served_in_full(players, serve):
    """trust.md C4: six times what farm A may, while farm B asks now and then."""
    api = serve(RATE_LIMIT_FARM="20/86400")
    with ThreadPoolExecutor(16) as pool:
        flood = [
            pool.submit(ask, api, player, players.farm) for _ in range(60) for player in (players.owner, players.worker)
        ]
        quiet = [ask(api, players.stranger, players.other_farm).status_code for _ in range(15)]
        flooded = Counter(done.result().status_code for done in flood)
    assert quiet == [200] * 15
    assert flooded == {200: 20, 429: 100}


def test_without_valkey_requests_go_on_and_the_log_says_so_once_a_process(players, serve, tmp_path):
    api = serve(RATE_LIMIT_KEY="2/86400", BROKER_URL=f"redis+socket://{tmp_path}/nobody.sock")
    assert [ask(api, players.owner, players.farm).status_code for _ in range(20)] == [200] * 20
    assert 1 <= api.log.read_text().count("Valkey does not answer") <= 2
