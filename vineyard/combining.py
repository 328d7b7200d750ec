"""Small bulk requests of one caller that arrive together are carried out as one, and each gets its own answer.

A field app's server that passes on sixty phones sends sixty requests at once, each with a line or two.  One by one
each costs a look-up of the key, a walk through the door and a commit; together they cost that once.  The key and the
door are asked after the last of them has arrived, so what was revoked is revoked for all of them.  A request waits
for nobody it has not seen: the first goes at once, and those that arrive while it is under way go together next.
"""

from __future__ import annotations

import asyncio
import re
import time
from collections.abc import Awaitable, Callable, Sequence
from dataclasses import dataclass, field
from typing import Any, Final
from wsgiref.types import WSGIEnvironment

import orjson

from records.bulk.lines import lines_of
from vineyard.calling import Answer

#: The member of the environment that says how many requests stand in this one; no header can set it.
COMBINED: Final = "vineyard.combined"
LARGEST_SMALL: Final = 16_384
MOST_SMALL_LINES: Final = 50
MOST_TOGETHER: Final = 200
#: Where several were answered at once, they are waited for this part of the time that it took, and so long at most;
#: a client alone never waits.
GATHERED_PART: Final = 0.5
GATHERED_SECONDS: Final = 0.02
_PATH: Final = re.compile(r"/api/v1/farms/[0-9a-f-]{36}/records")
_QUERIES: Final = {"", "on_conflict=error", "on_conflict=ignore", "on_conflict=update"}
#: Headers that make a request one by itself.
_BY_ITSELF: Final = (
    "HTTP_IDEMPOTENCY_KEY",
    "HTTP_PREFER",
    "HTTP_CONTENT_ENCODING",
    "HTTP_X_REQUEST_ID",
    "HTTP_TRANSFER_ENCODING",
)
#: Refusals of the caller or the farm, the same for everybody in the request.
_FOR_ALL: Final = {401, 403, 404, 429}

Run = Callable[[WSGIEnvironment, bytes], Awaitable[Answer]]


@dataclass
class _Waiting:
    """One request that waits for its answer."""

    environ: WSGIEnvironment
    lines: list[bytes]
    answer: asyncio.Future[Answer]


@dataclass
class _Queue:
    """The requests that wait to be carried out together, in order of arrival."""

    waiting: list[_Waiting] = field(default_factory=list)
    #: Set as soon as so many wait as are waited for.
    all_here: asyncio.Event = field(default_factory=asyncio.Event)
    waited_for: int = 0

    def add(self, request: _Waiting) -> None:
        self.waiting.append(request)
        if len(self.waiting) >= self.waited_for:
            self.all_here.set()

    async def gather(self, number: int, seconds: float) -> None:
        """Wait until so many are here, for so long at most."""
        if len(self.waiting) >= number:
            return
        self.waited_for = number
        self.all_here.clear()
        try:
            async with asyncio.timeout(seconds):
                await self.all_here.wait()
        except TimeoutError:
            pass

    def take(self) -> list[_Waiting]:
        together, self.waiting = self.waiting[:MOST_TOGETHER], self.waiting[MOST_TOGETHER:]
        return together


class Combiner:
    """Carries out small bulk requests, together where they came together; for one event loop."""

    def __init__(self, run: Run) -> None:
        self._run = run
        self._queues: dict[Any, _Queue] = {}
        self._tasks: set[asyncio.Task[None]] = set()

    async def answer(self, environ: WSGIEnvironment, body: bytes) -> Answer | None:
        """Give the answer to a small bulk request, or nothing where the request is another."""
        lines = _lines_of_small(environ, body)
        if lines is None:
            return None
        key = _key(environ)
        waiting = _Waiting(environ, lines, asyncio.get_running_loop().create_future())
        if key not in self._queues:
            self._queues[key] = _Queue()
            self._start(key)
        self._queues[key].add(waiting)
        return await waiting.answer

    def _start(self, key: Any) -> None:
        task = asyncio.create_task(self._carry_out(key))
        self._tasks.add(task)
        task.add_done_callback(self._tasks.discard)

    async def _carry_out(self, key: Any) -> None:
        """Carry out what waits under a key until nothing does.

        Clients that were answered together send again together, too: for them it waits a moment, or the first of them
        would go alone each time and the others wait for it.
        """
        queue = self._queues[key]
        while together := queue.take():
            began = time.monotonic()
            await self._tell(together)
            if len(together) > 1:
                took = time.monotonic() - began
                await queue.gather(len(together), min(GATHERED_PART * took, GATHERED_SECONDS))
        del self._queues[key]

    async def _tell(self, together: Sequence[_Waiting]) -> None:
        """Carry out some requests and give each its answer, or the failure that all of them met."""
        try:
            answers = await self._answers(together)
        except BaseException as failure:
            for each in together:
                if not each.answer.done():
                    each.answer.set_exception(failure)
            if not isinstance(failure, Exception):
                raise
        else:
            for each, answer in zip(together, answers, strict=True):
                if not each.answer.done():  # its client may have gone away
                    each.answer.set_result(answer)

    async def _answers(self, together: Sequence[_Waiting]) -> Sequence[Answer]:
        whole = await self._run_together(together)
        if len(together) == 1 or whole.status in _FOR_ALL:
            return [whole] * len(together)
        if not answers_all(whole.status):  # something in one of them: the others must not suffer for it
            return [await self._run_together([each]) for each in together]
        return _split(whole, [len(each.lines) for each in together])

    async def _run_together(self, together: Sequence[_Waiting]) -> Answer:
        body = b"\n".join(line for each in together for line in each.lines)
        environ = {**together[0].environ, "CONTENT_LENGTH": str(len(body)), COMBINED: len(together)}
        return await self._run(environ, body)


def answers_all(status: int) -> bool:
    """Tell whether an answer is one for every request in it; another is thrown away, and each carried out alone."""
    return status in {200, 207} or status in _FOR_ALL


def _lines_of_small(environ: WSGIEnvironment, body: bytes) -> list[bytes] | None:
    """Give the lines of a request that may be carried out with others."""
    if (
        environ["REQUEST_METHOD"] != "POST"
        or len(body) > LARGEST_SMALL
        or environ.get("CONTENT_TYPE") != "application/x-ndjson"
        or environ.get("CONTENT_LENGTH") != str(len(body))
        or environ["QUERY_STRING"] not in _QUERIES
        or any(name in environ for name in _BY_ITSELF)
        or not _PATH.fullmatch(environ["PATH_INFO"])
    ):
        return None
    lines = lines_of(body)
    return lines if 0 < len(lines) <= MOST_SMALL_LINES else None


def _key(environ: WSGIEnvironment) -> Any:
    """Give what requests must have in common: address, query, client and every header."""
    headers = tuple(sorted((name, value) for name, value in environ.items() if name.startswith("HTTP_")))
    return environ["PATH_INFO"], environ["QUERY_STRING"], environ["REMOTE_ADDR"], environ["wsgi.url_scheme"], headers


def _split(whole: Answer, counts: Sequence[int]) -> list[Answer]:
    """Give each request its part of the answer, as if it had been alone."""
    document = orjson.loads(whole.body)
    results: dict[int, dict[str, Any]] = {result["index"]: result for result in document["results"]}
    headers = [(name, value) for name, value in whole.headers if name.lower() != "content-length"]
    answers, start = [], 0
    for count in counts:
        own = [_moved(results[at], start) for at in range(start, start + count) if at in results]
        failed = sum(result["status"] == "error" for result in own)
        summary = {
            "received": count,
            **{name: sum(result["status"] == name for result in own) for name in ("created", "updated", "unchanged")},
            "failed": failed,
        }
        body = orjson.dumps({**document, "summary": summary, "results": own})
        own_headers = [*headers, ("Content-Length", str(len(body)))]
        answers.append(Answer(207 if failed else 200, own_headers, body))
        start += count
    return answers


def _moved(result: dict[str, Any], start: int) -> dict[str, Any]:
    """Give a result with its index, and those in its pointers, counted from the request's own beginning."""
    index = result["index"] - start
    for error in result.get("error", {}).get("errors", ()):
        error["pointer"] = f"#/{index}" + error["pointer"].removeprefix(f"#/{result['index']}")
    return {**result, "index": index}
