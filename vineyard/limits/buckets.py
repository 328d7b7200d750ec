"""Buckets of tokens: who may ask how often, and what is left.

A bucket holds ``amount`` tokens and fills again over ``seconds``; a request takes its cost out of every bucket
that it counts against, or out of none.  It is kept as one time, the one at which the bucket will be full again (the
generic cell rate algorithm of ATM, ITU-T I.371): that is exact, needs no list of requests, and forgets itself.
"""

from __future__ import annotations

import hashlib
import hmac
import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from django.conf import settings
from django.dispatch import Signal

from vineyard.limits.rates import Limit
from vineyard.limits.store import STORE

#: Sent with ``limit`` (its name) and ``outcome``: ``refused``, or ``uncounted`` when Valkey could not be asked.
limited = Signal()
#: All or nothing over every key.  Times in microseconds of the server's own clock: no worker's clock decides.
#: A cost larger than the bucket is taken from a full one, and what it owes is waited for by those who come next.
TAKE: Final = """
local now = redis.call('TIME')
now = now[1] * 1000000 + now[2]
local cost, wait, told, full_at = tonumber(ARGV[1]), 0, {}, {}
for i, key in ipairs(KEYS) do
  local amount, window = tonumber(ARGV[2 * i]), tonumber(ARGV[2 * i + 1]) * 1000000
  local full = math.max(tonumber(redis.call('GET', key) or 0), now)
  full_at[i] = math.ceil(full + cost * window / amount)
  wait = math.max(wait, full + math.min(cost, amount) * window / amount - now - window)
end
for i, key in ipairs(KEYS) do
  local amount, window = tonumber(ARGV[2 * i]), tonumber(ARGV[2 * i + 1]) * 1000000
  local full = math.max(tonumber(redis.call('GET', key) or 0), now)
  if wait <= 0 and cost > 0 then
    full = full_at[i]
    redis.call('SET', key, string.format('%.0f', full), 'PX', math.ceil((full - now) / 1000) + 1)
  end
  told[2 * i - 1] = math.floor((now + window - full) * amount / window)
  told[2 * i] = math.ceil(full - now)
end
return {math.ceil(wait), unpack(told)}
"""


@dataclass(frozen=True)
class Bucket:
    """The tokens of one holder under one limit."""

    limit: Limit
    holder: str

    @property
    def place(self) -> str:
        """Name it in Valkey, which is trusted with no address and no name: a keyed hash stands for the holder."""
        secret = settings.SECRET_KEY.encode()
        return f"limit:{self.limit.name}:{hmac.new(secret, self.holder.encode(), hashlib.sha256).hexdigest()[:32]}"


@dataclass(frozen=True)
class Standing:
    """What is left in one bucket, and in how many seconds it is full again."""

    limit: Limit
    left: int
    full_in_seconds: int


@dataclass(frozen=True)
class Allowance:
    """Whether a request may go on, after how many seconds it would, and how each bucket stands."""

    allowed: bool
    wait_seconds: int = 0
    standings: tuple[Standing, ...] = ()

    def __bool__(self) -> bool:
        return self.allowed

    @property
    def emptiest(self) -> Standing | None:
        """Give the bucket that refused, or that will refuse first."""
        return min(self.standings, key=_fullness, default=None)


def _fullness(standing: Standing) -> float:
    return standing.left / standing.limit.amount


#: The answer where nothing is limited, or nobody can be asked: a broker that is away stops no grower's work.
FREE: Final = Allowance(allowed=True)


def allow(name: str, holder: str, cost: int = 1) -> Allowance:
    """Take tokens for one holder under the limit of this name; ask before the work, and heed the answer.

    Parameters
    ----------
    name : str
        A name in ``settings.RATE_LIMITS``.
    holder : str
        Whose tokens: a key's id, a farm's id, an address, an account.
    cost : int
        How many; 0 only looks.
    """
    return allow_together([(name, holder)], cost)


def allow_together(of: Sequence[tuple[str, str]], cost: int = 1) -> Allowance:
    """Take tokens out of several buckets, or out of none if one of them lacks them."""
    buckets = [Bucket(limit, holder) for name, holder in of if (limit := settings.RATE_LIMITS[name]) is not None]
    if not buckets:
        return FREE
    arguments = [number for bucket in buckets for number in (bucket.limit.amount, bucket.limit.seconds)]
    told = STORE.run(TAKE, [bucket.place for bucket in buckets], [cost, *arguments])
    if told is None:
        limited.send(sender=Bucket, limit=buckets[0].limit.name, outcome="uncounted")
        return FREE
    wait, *stand = told
    standings = tuple(
        Standing(bucket.limit, max(0, left), math.ceil(full_in / 1_000_000))
        for bucket, left, full_in in zip(buckets, stand[::2], stand[1::2], strict=True)
    )
    if wait > 0:
        emptiest = min(standings, key=_fullness)
        limited.send(sender=Bucket, limit=emptiest.limit.name, outcome="refused")
    return Allowance(wait <= 0, max(0, math.ceil(wait / 1_000_000)), standings)


def forget(name: str, holder: str) -> None:
    """Fill a bucket again, e.g. that of an account after the right password."""
    limit = settings.RATE_LIMITS[name]
    if limit is not None:
        STORE.run("redis.call('DEL', KEYS[1])", [Bucket(limit, holder).place], [])
