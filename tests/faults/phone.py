"""A field app as far as its network goes: it sends, it may hear nothing, and it sends again."""

from __future__ import annotations

import http.client
import json
import time
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

#: The proxy eats the reply of a request that carries this header; the service never sees it.
LOSE_REPLY = "X-Lose-Reply"
#: Longer than any answer takes on a machine that does much else besides.
PATIENCE_SECONDS = 120


class NoReply(Exception):
    """The connection ended before a whole answer came: the request may have been carried out or not."""


@dataclass(frozen=True)
class Reply:
    """An answer that came whole."""

    status: int
    headers: dict[str, str]
    content: bytes

    @property
    def ok(self) -> bool:
        return 200 <= self.status < 300

    def json(self) -> Any:
        return json.loads(self.content)


class Phone:
    """One connection to the service, kept as long as it lasts."""

    def __init__(self, port: int, key: str) -> None:
        self._headers = {"Authorization": f"Bearer {key}"}
        self._line = http.client.HTTPConnection("127.0.0.1", port, timeout=PATIENCE_SECONDS)

    def send(self, method: str, path: str, body: Any = None, **headers: str) -> Reply:
        """Send a request once.

        Raises
        ------
        NoReply
            No whole answer came.
        """
        content = body if isinstance(body, bytes | None) else json.dumps(body).encode()
        told = {name.replace("_", "-"): value for name, value in headers.items()}
        if content is not None:
            told = {"Content-Type": "application/json", **told}
        try:
            self._line.request(method, f"/api/v1{path}", content, {**self._headers, **told})
            answer = self._line.getresponse()
            read = answer.read()
        except (OSError, http.client.HTTPException) as error:
            self._line.close()
            raise NoReply from error
        return Reply(answer.status, {name.lower(): value for name, value in answer.getheaders()}, read)

    def insist(
        self, method: str, path: str, body: Any = None, *, felt: Callable[[], None] = lambda: None, **headers: str
    ) -> Reply:
        """Send until an answer comes that is not "try again later"; ``felt`` is called each time none did."""
        end = time.monotonic() + PATIENCE_SECONDS
        while time.monotonic() < end:
            try:
                reply = self.send(method, path, body, **headers)
            except NoReply:
                felt()
                time.sleep(0.02)
                continue
            if reply.status not in {429, 503}:
                return reply
            assert int(reply.headers["retry-after"]) > 0
            felt()
            time.sleep(0.1)
        raise AssertionError(f"{method} {path}: no answer within {PATIENCE_SECONDS} s")

    def close(self) -> None:
        self._line.close()
