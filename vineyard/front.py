"""The front of the API: a body arrives whole, and a caller's turn comes, before a thread takes a request up.

A thread that waits for a phone on a bad line serves nobody else, and six such phones would stop the service.  Here
a connection costs a few kilobytes while it is slow; threads, and the database connections that they keep, only ever
work.  It speaks RSGI, granian's own interface, and calls the WSGI application in a thread of its own.
"""

from __future__ import annotations

import asyncio
import logging
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from contextlib import AsyncExitStack
from dataclasses import dataclass
from typing import Any, Final, Protocol
from wsgiref.types import WSGIApplication, WSGIEnvironment

from vineyard.api.bodies import largest_body
from vineyard.calling import Answer, Streamed, call, environ_of, refusal
from vineyard.combining import Combiner
from vineyard.turns import Turns, TurnsAreFull, caller_of, farm_of

log = logging.getLogger("vineyard.front")

#: A body of so many bytes at most is awaited in one piece.
SMALL: Final = 4_000
#: Why a task that waits for such a body is cancelled.
_LATE: Final = "late"


@dataclass(frozen=True)
class Patience:
    """How long a client may take, and how much may be held for clients meanwhile.

    A body may take ``grace_seconds`` and one second more for every ``slowest_bytes`` of it that arrived; a bad
    mobile line brings many times that.  ``held_bytes`` is what a worker process holds of bodies at most.
    """

    grace_seconds: float = 20.0
    slowest_bytes: int = 1_000
    held_bytes: int = 256_000_000
    turn_seconds: float = 10.0
    send_seconds: float = 30.0


class Scope(Protocol):
    """What granian tells of a request (RSGI), as far as it is used here."""

    method: str
    path: str
    query_string: str
    scheme: str
    http_version: str
    client: str
    server: str
    authority: str | None
    headers: Any


class TooSlow(Exception):
    """A body did not arrive in the time that it may take."""


class TooMuchHeld(Exception):
    """What has arrived of bodies takes as much memory as it may."""


class Front:
    """An RSGI application around a WSGI application.

    Parameters
    ----------
    inner : WSGIApplication
        What answers; it runs in a thread, with the whole body in memory.
    threads : int
        How many requests a worker process works on at once.  Half of them, rounded down, may work for one farm or
        one caller; the count is one of this process, so of ``n`` processes a farm may hold half of each.
    note : callable
        Is told of each request that is refused here, with the answer; the application never hears of it.
    """

    def __init__(
        self,
        inner: WSGIApplication,
        *,
        threads: int,
        patience: Patience | None = None,
        note: Callable[[WSGIEnvironment, Answer], object] = lambda *_: None,
    ) -> None:
        self._inner = inner
        self._note = note
        self._pool = ThreadPoolExecutor(threads, thread_name_prefix="api")
        self._turns = Turns(at_once=max(1, threads // 2))
        self._patience = patience or Patience()
        self._held = 0
        self._combiner = Combiner(self._whole)

    async def __rsgi__(self, scope: Scope, protocol: Any) -> None:
        environ = environ_of(scope)
        try:
            body = await self._body(environ, protocol)
        except TooSlow:
            return self._refuse(protocol, environ, "too_slow", _TOO_SLOW)
        except TooMuchHeld:
            return self._refuse(protocol, environ, "unavailable", "Too many bodies arrive at once. Nothing was stored.")
        try:
            answer = await self._combiner.answer(environ, body)
            if answer is None:
                answer = await self._called(environ, body, protocol)
            if answer is not None:
                _send(protocol, answer)
        except TurnsAreFull:
            self._refuse(protocol, environ, "too_many_requests", _NO_TURN)
        except Exception:
            log.exception("a request failed before its first answer or while it was sent")
            self._refuse(protocol, environ, "internal_error", "The service failed; this is a fault of ours.")
        finally:
            self._held -= len(body)

    async def _body(self, environ: WSGIEnvironment, protocol: Any) -> bytes:
        """Give the whole body; nothing of one that the rules for bodies refuse by its headers."""
        announced = environ.get("CONTENT_LENGTH", "")
        if not _is_taken(environ, announced):
            return b""
        if announced and int(announced) <= SMALL:
            return await self._small_body(protocol, int(announced))
        body, clock = bytearray(), asyncio.get_running_loop().time
        began = clock()
        try:
            chunks = aiter(protocol)
            while len(body) <= largest_body(environ["PATH_INFO"]):
                late = began + self._patience.grace_seconds + len(body) / self._patience.slowest_bytes
                async with asyncio.timeout_at(late):
                    chunk = await chunks.__anext__()  # granian dies of anext() with a default
                    self._hold(len(chunk))
                    body += chunk
        except StopAsyncIteration:
            pass
        except TimeoutError:
            self._held -= len(body)
            raise TooSlow from None
        except TooMuchHeld:
            self._held -= len(body)
            raise
        except Exception as ended:  # granian's own class for a client that went away is not in its Python part
            log.debug("a body ended early: %s", ended)
        return bytes(body)

    async def _small_body(self, protocol: Any, length: int) -> bytes:
        """Give a body of few bytes, which is awaited in one piece: it has arrived already, as a rule."""
        self._hold(length)
        late = asyncio.get_running_loop().call_later(
            self._patience.grace_seconds + length / self._patience.slowest_bytes, _current_task().cancel, _LATE
        )
        body = b""
        try:
            body = await protocol()
        except asyncio.CancelledError as ended:
            if ended.args == (_LATE,):
                raise TooSlow from None
            raise
        except Exception as ended:
            log.debug("a body ended early: %s", ended)
        finally:
            late.cancel()
            self._held -= length - len(body)
        return body

    def _hold(self, length: int) -> None:
        if self._held + length > self._patience.held_bytes:
            raise TooMuchHeld
        self._held += length

    async def _whole(self, environ: WSGIEnvironment, body: bytes) -> Answer:
        """Give the answer to small requests that were combined; theirs is never large enough to be streamed."""
        answer = await self._called(environ, body, None)
        assert answer is not None  # noqa: S101 - only what was streamed gives none
        return answer

    async def _called(self, environ: WSGIEnvironment, body: bytes, protocol: Any) -> Answer | None:
        """Give the answer of the application when the caller's turn has come; nothing of one that was streamed."""
        loop = asyncio.get_running_loop()
        async with AsyncExitStack() as turns:
            for holder in (caller_of(environ), farm_of(environ["PATH_INFO"])):
                if holder:  # the caller's own turn first: nobody can fill the queue of a farm that is not theirs
                    await turns.enter_async_context(self._turns.of(holder, self._patience.turn_seconds))
            stream = Streamed(loop, protocol, self._patience.send_seconds)
            return await loop.run_in_executor(self._pool, call, self._inner, environ, body, stream)

    def _refuse(self, protocol: Any, environ: WSGIEnvironment, code: str, detail: str) -> None:
        answer = refusal(environ, code, detail)
        self._note(environ, answer)
        _send(protocol, answer)


def _is_taken(environ: WSGIEnvironment, announced: str) -> bool:
    if announced:
        return announced.isdecimal() and 0 < int(announced[:16]) <= largest_body(environ["PATH_INFO"])
    # HTTP/2 may bring a body without its length; it is read here and refused by the rules for bodies.
    return environ["REQUEST_METHOD"] not in {"GET", "HEAD"} and "HTTP_TRANSFER_ENCODING" not in environ


def _current_task() -> asyncio.Task[Any]:
    task = asyncio.current_task()
    assert task is not None  # noqa: S101 - whoever asks is a coroutine
    return task


def _send(protocol: Any, answer: Answer) -> None:
    protocol.response_bytes(answer.status, answer.headers, answer.body)


_TOO_SLOW: Final = "The body arrived too slowly and was not waited for. Nothing was stored; send it again."
_NO_TURN: Final = (
    "This farm or caller has as many requests under way as it may, and none ended in time. Nothing was stored; send "
    "fewer at once."
)
