"""Turns: how many requests of one farm, or of one caller, are worked on at once; the others wait in their own queue."""

from __future__ import annotations

import asyncio
import hashlib
import re
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from typing import Final
from wsgiref.types import WSGIEnvironment

from vineyard.addresses import address_of

_FARM: Final = re.compile(r"/(?:api/v1|board)/farms/([0-9A-Fa-f-]{36})(?:/|$)")
#: So many may wait for one holder; more are refused at once, because each keeps its body in memory.
LONGEST_QUEUE: Final = 1_000


class TurnsAreFull(Exception):
    """No turn came in the time that a request may wait for it."""


class _Queue:
    """The turns of one holder, kept as long as anybody has or awaits one."""

    def __init__(self, at_once: int) -> None:
        self.turn = asyncio.Semaphore(at_once)
        self.here = 0


class Turns:
    """At most ``at_once`` turns for each holder, in order of arrival; for one event loop."""

    def __init__(self, at_once: int) -> None:
        self._at_once = at_once
        self._queues: dict[str, _Queue] = {}

    @asynccontextmanager
    async def of(self, holder: str, seconds: float) -> AsyncIterator[None]:
        """Wait for a turn of this holder and keep it.

        Raises
        ------
        TurnsAreFull
            None came within so many seconds, or too many wait already.
        """
        queue = self._queues.setdefault(holder, _Queue(self._at_once))
        if queue.here >= LONGEST_QUEUE:
            raise TurnsAreFull
        queue.here += 1
        try:
            await _taken(queue.turn, seconds)
            try:
                yield
            finally:
                queue.turn.release()
        finally:
            queue.here -= 1
            if not queue.here:
                del self._queues[holder]


async def _taken(turn: asyncio.Semaphore, seconds: float) -> None:
    if not turn.locked():  # as a rule; a timer would cost more than the rest
        await turn.acquire()
        return
    try:
        async with asyncio.timeout(seconds):
            await turn.acquire()
    except TimeoutError:
        raise TurnsAreFull from None


def farm_of(path: str) -> str | None:
    """Give the farm that an address names, whether there is such a farm or not."""
    found = _FARM.match(path)
    return f"farm {found[1].lower()}" if found else None


def caller_of(environ: WSGIEnvironment) -> str:
    """Give who says to call: the key as sent, not yet looked at, else the address that the connection comes from."""
    said = environ.get("HTTP_AUTHORIZATION") or environ.get("HTTP_COOKIE")
    if said:
        return "caller " + hashlib.sha256(said.encode("utf-8", "replace")).hexdigest()
    return f"address {address_of(environ)}"
