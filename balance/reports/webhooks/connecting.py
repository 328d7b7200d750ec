"""Send one request to a receiver and give its status: the only way by which messages leave the house.

The name is resolved once, every address that it leads to must be public, and what is connected to is one of the very
addresses that were looked at; TLS is still asked for the name and verified against it.  No redirect is followed, no
proxy is taken from the environment, all of it together takes no longer than its time and reads no more than its share.
"""

from __future__ import annotations

import socket
import ssl
import time
from collections.abc import Iterable
from concurrent.futures import ThreadPoolExecutor
from concurrent.futures import TimeoutError as NotInTime
from contextlib import suppress
from dataclasses import dataclass
from functools import lru_cache
from typing import Any, Final

import certifi
import httpcore
from django.conf import settings

from balance.reports.webhooks.places import Place, is_public

SECONDS: Final = 15.0
MOST_BYTES: Final = 64 * 1024


class NotReached(Exception):
    """There was no answer; the message is a sentence that may be shown."""


@dataclass(frozen=True)
class Answer:
    """What a receiver answered, as far as anybody looks at it."""

    status: int
    retry_after: str = ""


def post(place: Place, headers: dict[str, str], body: bytes) -> Answer:
    """Send one request.

    Raises
    ------
    NotReached
        There was no answer in time, or the place is none that may be reached.
    """
    clock = _Clock(SECONDS)
    address = httpcore.URL(scheme=b"https", host=place.host.encode(), port=place.port, target=place.target)
    told = [(b"Host", place.named), *((name.encode(), value.encode()) for name, value in headers.items())]
    told.append((b"Content-Length", str(len(body)).encode()))
    try:
        with (
            httpcore.ConnectionPool(
                ssl_context=_trusting(settings.WEBHOOKS_CA_FILE), network_backend=_Careful(place, clock), http2=False
            ) as pool,
            pool.stream("POST", address, headers=told, content=body) as answer,
        ):
            with suppress(httpcore.NetworkError, httpcore.TimeoutException, httpcore.ProtocolError):
                for _ in answer.iter_stream():  # read out of politeness: nobody looks at it
                    pass
            after = {name.lower(): value for name, value in answer.headers}.get(b"retry-after", b"")
            return Answer(answer.status, after[:100].decode("ascii", "replace"))
    except httpcore.TimeoutException as error:
        raise NotReached(f"There was no answer within {SECONDS:.0f} seconds.") from error
    except (httpcore.NetworkError, httpcore.ProtocolError) as error:
        raise NotReached(_why(error)) from error


def _why(error: Exception) -> str:
    cause: BaseException | None = error
    while cause is not None:
        if isinstance(cause, ssl.SSLCertVerificationError):
            return "The certificate of the receiver is not valid for its name, or nobody known signed it."
        if isinstance(cause, ssl.SSLError):
            return "No encrypted connection came about."
        cause = cause.__cause__ or cause.__context__
    if isinstance(error, httpcore.ConnectError):
        return "The receiver could not be connected to."
    return "The connection broke off, or the answer was none that HTTP knows."


@lru_cache(maxsize=4)
def _trusting(own_authorities: str) -> ssl.SSLContext:
    """Trust the authorities that browsers trust, and those that whoever runs the service named."""
    context = ssl.create_default_context(cafile=certifi.where())
    if own_authorities:
        context.load_verify_locations(own_authorities)
    return context


def resolve(host: str, port: int) -> list[str]:
    """Ask the resolver for every address of a name."""
    found = socket.getaddrinfo(host, port, type=socket.SOCK_STREAM)
    return list(dict.fromkeys(str(address[0]) for *_, address in found))


class _Clock:
    """What is left of the time that one message has, and of the bytes that its answer may have."""

    def __init__(self, seconds: float) -> None:
        self.end = time.monotonic() + seconds
        self.bytes_left = MOST_BYTES

    def left(self, asked: float | None = None) -> float:
        left = self.end - time.monotonic()
        if left <= 0:
            raise httpcore.ReadTimeout
        return left if asked is None else min(left, asked)

    def count(self, read: bytes) -> bytes:
        self.bytes_left -= len(read)
        if self.bytes_left < 0:
            raise httpcore.ReadError
        return read


class _Careful(httpcore.NetworkBackend):
    """Connects to a public address of the one place that it was made for, and to nothing else."""

    def __init__(self, place: Place, clock: _Clock) -> None:
        self.place, self.clock, self.inner = place, clock, httpcore.SyncBackend()

    def connect_tcp(
        self,
        host: str,
        port: int,
        timeout: float | None = None,
        local_address: str | None = None,
        socket_options: Iterable[Any] | None = None,
    ) -> httpcore.NetworkStream:
        if (host, port) != (self.place.host, self.place.port):
            raise NotReached("The request was about to go elsewhere.")
        if settings.WEBHOOKS_ONLY_LISTED and not self.place.is_listed:
            raise NotReached("This service sends messages to the receivers that whoever runs it has listed.")
        addresses = self._addresses()
        if not self.place.is_listed and not all(map(is_public, addresses)):
            raise NotReached("The name leads to an address that is not public.")
        failure: Exception = httpcore.ConnectError()
        for address in addresses:
            try:
                stream = self.inner.connect_tcp(address, port, self.clock.left(timeout), local_address, socket_options)
            except httpcore.ConnectError as error:
                failure = error
            else:
                return _Timed(stream, self.clock)
        raise failure

    def _addresses(self) -> list[str]:
        """Resolve the name within the time: a resolver has patience of its own, and cannot be told otherwise."""
        pool = ThreadPoolExecutor(max_workers=1)
        try:
            addresses = pool.submit(resolve, self.place.host, self.place.port).result(self.clock.left())
        except NotInTime as error:
            raise httpcore.ConnectTimeout from error
        except (OSError, UnicodeError) as error:
            raise NotReached("The name of the receiver is not known.") from error
        finally:
            pool.shutdown(wait=False)
        if not addresses:
            raise NotReached("The name of the receiver is not known.")
        return addresses


class _Timed(httpcore.NetworkStream):
    """A connection on which every step has what is left of the whole, so that no receiver drips it on for ever."""

    def __init__(self, inner: httpcore.NetworkStream, clock: _Clock) -> None:
        self.inner, self.clock = inner, clock

    def read(self, max_bytes: int, timeout: float | None = None) -> bytes:
        return self.clock.count(self.inner.read(max_bytes, self.clock.left(timeout)))

    def write(self, buffer: bytes, timeout: float | None = None) -> None:
        self.inner.write(buffer, self.clock.left(timeout))

    def close(self) -> None:
        self.inner.close()

    def start_tls(
        self, ssl_context: ssl.SSLContext, server_hostname: str | None = None, timeout: float | None = None
    ) -> httpcore.NetworkStream:
        return _Timed(self.inner.start_tls(ssl_context, server_hostname, self.clock.left(timeout)), self.clock)

    def get_extra_info(self, info: str) -> Any:
        return self.inner.get_extra_info(info)
