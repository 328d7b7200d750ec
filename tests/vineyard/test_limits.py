"""Buckets of tokens in Valkey: exact under load, all or nothing, and never in the way."""

from __future__ import annotations

import logging
import subprocess
import sys
import threading
import uuid
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from typing import Any

import pytest
import redis

from vineyard.limits import allow, allow_together, buckets, forget, limited, store
from vineyard.limits.rates import Limit


@pytest.fixture
def limits(settings: Any) -> dict[str, Any]:
    """Limits that fill so slowly that nothing comes back during a test; a name of each test's own."""
    settings.RATE_LIMITS = {
        "few": Limit(f"few {uuid.uuid4()}", 10, 86_400),
        "one": Limit(f"one {uuid.uuid4()}", 1, 86_400),
        "quick": Limit(f"quick {uuid.uuid4()}", 1, 1),
        "none": None,
    }
    made: dict[str, Any] = settings.RATE_LIMITS
    return made


def test_so_many_pass_and_no_more(limits):
    assert [bool(allow("few", "ines")) for _ in range(12)] == [True] * 10 + [False] * 2


def test_of_many_at_once_exactly_so_many_pass(limits):
    with ThreadPoolExecutor(16) as pool:
        told = list(pool.map(lambda _: bool(allow("few", "ines")), range(200)))
    assert told.count(True) == 10


def test_one_holder_spends_nothing_of_another(limits):
    assert [bool(allow("one", holder)) for holder in ("ines", "ines", "tomas")] == [True, False, True]


def test_a_refusal_says_how_long_to_wait_and_the_wait_is_long_enough(limits):
    assert allow("quick", "ines")
    refused = allow("quick", "ines")
    assert (refused.allowed, refused.wait_seconds) == (False, 1)
    threading.Event().wait(refused.wait_seconds)
    assert allow("quick", "ines")


def test_out_of_several_buckets_it_takes_all_or_none(limits):
    """Or a request that the farm's bucket refuses would still cost its key."""
    allow("one", "farm")
    assert not allow_together([("few", "key"), ("one", "farm")])
    assert allow("few", "key", cost=0).standings[0].left == 10


def test_a_cost_above_the_bucket_takes_a_full_one_and_those_after_wait(limits):
    """Or a file of many rows could never be sent at all."""
    assert allow("few", "ines", cost=25)
    after = allow("few", "ines")
    assert not after
    assert after.wait_seconds == pytest.approx(86_400 * 16 / 10, abs=2)


def test_looking_takes_nothing(limits):
    assert [allow("few", "ines", cost=0).standings[0].left for _ in range(3)] == [10, 10, 10]
    assert allow("few", "ines").standings[0].left == 9


def test_forgetting_fills_the_bucket(limits):
    allow("one", "ines")
    forget("one", "ines")
    assert allow("one", "ines")


def test_a_limit_that_is_off_limits_nothing(limits):
    assert all(allow("none", "ines") for _ in range(5))


def test_valkey_is_told_no_name_and_no_address(limits):
    allow("few", "ines@harrow-vale.example")
    place = buckets.Bucket(limits["few"], "ines@harrow-vale.example").place
    assert "ines" not in place
    assert store._client().exists(place)


def test_it_forgets_by_itself(limits):
    allow("few", "ines")
    place = buckets.Bucket(limits["few"], "ines").place
    assert 0 < store._client().pttl(place) <= 8_640_000


@pytest.fixture
def away(settings: Any, monkeypatch: pytest.MonkeyPatch, tmp_path: Any) -> store.Store:
    """A store whose Valkey is not there."""
    settings.BROKER_URL = f"redis+socket://{tmp_path}/nobody.sock"
    fresh = store.Store()
    monkeypatch.setattr(buckets, "STORE", fresh)
    return fresh


@pytest.fixture
def heard() -> Iterator[list[str]]:
    """The outcomes that were told to whoever counts."""
    outcomes: list[str] = []
    limited.connect(lambda outcome, **_: outcomes.append(outcome), weak=False, dispatch_uid="test")
    yield outcomes
    limited.disconnect(dispatch_uid="test")


def test_whoever_counts_hears_of_every_refusal(limits, heard):
    assert [bool(allow("one", "ines")) for _ in range(3)] == [True, False, False]
    assert heard == ["refused", "refused"]


def test_without_valkey_requests_go_on_and_it_is_said_once(limits, away, heard, caplog):
    with caplog.at_level(logging.WARNING, "vineyard.limits"):
        assert all(allow("one", "ines") for _ in range(50))
    assert (len(caplog.records), heard) == (1, ["uncounted"] * 50)


def test_without_valkey_one_request_in_a_while_asks_and_the_others_do_not_wait(limits, away, monkeypatch):
    tried: list[int] = []

    def refused(text: str) -> Any:
        tried.append(1)
        raise redis.ConnectionError

    monkeypatch.setattr(away, "_script", refused)
    assert all(allow("one", "ines") for _ in range(50))
    assert len(tried) == 1
    away._closed_again_at = 0.0
    assert all(allow("one", "ines") for _ in range(50))
    assert len(tried) == 2


def test_when_valkey_is_back_limits_hold_again(limits, away, settings, monkeypatch):
    allow("one", "ines")
    monkeypatch.undo()
    assert store.STORE is not away
    assert [bool(allow("one", "tomas")) for _ in range(2)] == [True, False]


MANY = """
import os, sys
os.environ["DJANGO_SETTINGS_MODULE"] = "vineyard.settings"
import django; django.setup()
from django.conf import settings
from vineyard.limits import allow
from vineyard.limits.rates import Limit
settings.RATE_LIMITS = {"shared": Limit(sys.argv[1], 50, 86_400)}
print(sum(bool(allow("shared", "farm")) for _ in range(100)))
"""


@pytest.mark.slow
def test_over_several_processes_exactly_so_many_pass():
    argv = [sys.executable, "-c", MANY, f"shared {uuid.uuid4()}"]
    running = [subprocess.Popen(argv, stdout=subprocess.PIPE, text=True) for _ in range(3)]
    assert sum(int(process.communicate(timeout=60)[0]) for process in running) == 50
