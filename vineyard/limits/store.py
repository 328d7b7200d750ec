"""Valkey, asked so that it can never be in the way: briefly, and for a while not at all when it did not answer."""

from __future__ import annotations

import logging
import threading
import time
from collections.abc import Sequence
from typing import Any, Final

import redis
from django.conf import settings
from redis.backoff import NoBackoff
from redis.commands.core import Script
from redis.retry import Retry

log = logging.getLogger("vineyard.limits")

#: Longer than Valkey ever takes on the same network, and short enough to be lost once.
ANSWERS_WITHIN_SECONDS: Final = 0.15
ASKED_AGAIN_AFTER_SECONDS: Final = 5.0


class Store:
    """Scripts on Valkey; ``None`` stands for no answer.

    The first failure opens the circuit: for some seconds nobody asks, then one request tries for all.
    """

    def __init__(self) -> None:
        self._scripts: dict[str, Script] = {}
        self._lock = threading.Lock()
        self._closed_again_at = 0.0
        self._away = False

    def run(self, script: str, keys: Sequence[str], arguments: Sequence[int]) -> Any:
        """Run a script."""
        if self._away and not self._may_try():
            return None
        try:
            told = self._script(script)(keys=list(keys), args=list(arguments))
        except redis.RedisError as error:
            self._open(error)
            return None
        if self._away:
            self._away = False
            log.info("Valkey answers again; requests are limited again")
        return told

    def _script(self, text: str) -> Script:
        if text not in self._scripts:
            self._scripts[text] = _client().register_script(text)
        return self._scripts[text]

    def _may_try(self) -> bool:
        with self._lock:
            now = time.monotonic()
            if now < self._closed_again_at:
                return False
            self._closed_again_at = now + ASKED_AGAIN_AFTER_SECONDS  # the others go on without asking meanwhile
            return True

    def _open(self, error: redis.RedisError) -> None:
        with self._lock:
            first, self._away = not self._away, True
            self._closed_again_at = time.monotonic() + ASKED_AGAIN_AFTER_SECONDS
        if first:
            log.warning("Valkey does not answer (%s); requests are not limited until it does", type(error).__name__)


def _client() -> redis.Redis:
    """Give a client that tries once; ``redis+socket://`` is Celery's way to write a socket's path."""
    address = settings.BROKER_URL
    if address.startswith("redis+socket://"):
        path, _, query = address.removeprefix("redis+socket://").partition("?")
        address = f"unix://{path}?db={query.partition('virtual_host=')[2] or '0'}"
    return redis.Redis.from_url(
        address,
        socket_timeout=ANSWERS_WITHIN_SECONDS,
        socket_connect_timeout=ANSWERS_WITHIN_SECONDS,
        retry=Retry(NoBackoff(), 0),
    )


STORE: Final = Store()
