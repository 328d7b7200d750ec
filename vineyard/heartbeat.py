"""Signs of life of scheduler and worker, kept by the broker and forgotten by itself: nobody's clock is compared."""

from __future__ import annotations

import redis
from django.conf import settings

#: A sweep is due every ten seconds; six of them missed is silence.
SILENT_AFTER_SECONDS = 60


def broker_client(*, timeout: float = 2) -> redis.Redis:
    """Give a client of the broker's server; ``redis+socket://`` is Celery's way to write a socket's path."""
    address = settings.BROKER_URL
    if address.startswith("redis+socket://"):
        path, _, query = address.removeprefix("redis+socket://").partition("?")
        number = query.partition("virtual_host=")[2] or "0"
        address = f"unix://{path}?db={number}"
    return redis.Redis.from_url(address, socket_timeout=timeout, socket_connect_timeout=timeout)


def beat(part: str) -> None:
    """Leave a sign of life of this part; where the broker is away, its absence is the sign."""
    client = broker_client(timeout=1)
    try:
        client.set(_name(part), "alive", ex=SILENT_AFTER_SECONDS)
    except redis.RedisError:
        return
    finally:
        client.close()


def heard_of(part: str) -> bool:
    """Tell whether this part gave a sign of life lately.

    Raises
    ------
    redis.RedisError
        The broker does not answer.
    """
    client = broker_client()
    try:
        return bool(client.exists(_name(part)))
    finally:
        client.close()


def _name(part: str) -> str:
    return f"vineyard:alive:{part}"
