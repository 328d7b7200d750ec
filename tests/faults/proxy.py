"""A proxy that eats replies: the service has answered, and whoever asked never hears of it."""

from __future__ import annotations

import asyncio
import threading
from collections.abc import Iterator
from contextlib import contextmanager

from tests.faults.phone import LOSE_REPLY

_MARK = f"{LOSE_REPLY.lower()}:".encode()


class ReplyEater:
    """Forwards each request whole, reads the whole answer, and drops it where the request asks for that.

    ``eaten`` counts by status what was dropped: a fault that hit no 2xx has tested nothing.
    """

    def __init__(self, upstream: int) -> None:
        self.upstream = upstream
        self.port = 0
        self.eaten: dict[int, int] = {}

    async def serve(self, ready: threading.Event, over: asyncio.Event) -> None:
        server = await asyncio.start_server(self._client, "127.0.0.1", 0)
        self.port = server.sockets[0].getsockname()[1]
        ready.set()
        await over.wait()
        server.close()

    async def _client(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        try:
            far_reader, far_writer = await asyncio.open_connection("127.0.0.1", self.upstream)
            try:
                while await self._exchange(reader, writer, far_reader, far_writer):
                    pass
            finally:
                far_writer.close()
        except (OSError, asyncio.IncompleteReadError):
            pass  # one side is gone; the other sees its connection end
        finally:
            writer.close()

    async def _exchange(
        self,
        reader: asyncio.StreamReader,
        writer: asyncio.StreamWriter,
        far_reader: asyncio.StreamReader,
        far_writer: asyncio.StreamWriter,
    ) -> bool:
        """Carry one request and its answer; gives whether the connection goes on."""
        head, body = await _message(reader)
        lines = head.split(b"\r\n")
        kept = [line for line in lines if not line.lower().startswith(_MARK)]
        far_writer.write(b"\r\n".join(kept) + body)
        answer_head, answer_body = await _message(far_reader)
        if len(kept) < len(lines):
            status = int(answer_head.split(b" ", 2)[1])
            self.eaten[status] = self.eaten.get(status, 0) + 1
            return False
        writer.write(answer_head + answer_body)
        await writer.drain()
        return True


async def _message(reader: asyncio.StreamReader) -> tuple[bytes, bytes]:
    head = await reader.readuntil(b"\r\n\r\n")
    lengths = [line.split(b":")[1] for line in head.lower().split(b"\r\n") if line.startswith(b"content-length:")]
    return head, await reader.readexactly(int(lengths[0])) if lengths else b""


@contextmanager
def eating_replies(upstream: int) -> Iterator[ReplyEater]:
    """Run a proxy before a port of this machine."""
    eater, ready = ReplyEater(upstream), threading.Event()
    loop, over = asyncio.new_event_loop(), asyncio.Event()
    thread = threading.Thread(target=lambda: loop.run_until_complete(eater.serve(ready, over)), daemon=True)
    thread.start()
    assert ready.wait(10)
    try:
        yield eater
    finally:
        loop.call_soon_threadsafe(over.set)
        thread.join(10)
