"""Where a request comes from, as far as anybody may believe it."""

from __future__ import annotations

import ipaddress
from collections.abc import Mapping
from typing import Any

from django.conf import settings


def address_of(environ: Mapping[str, Any]) -> str:
    """Give the address of the client: the peer's, or what the outermost of our own proxies saw.

    Every proxy adds the address of whoever called it to the right of ``X-Forwarded-For``; what stands further left
    than our own proxies wrote may be invented.  Of an IPv6 address the network counts (/64): that is what one client
    is given.
    """
    trusted = settings.TRUSTED_PROXIES
    peer = str(environ.get("REMOTE_ADDR", ""))
    if trusted:
        seen = [part.strip() for part in str(environ.get("HTTP_X_FORWARDED_FOR", "")).split(",") if part.strip()]
        peer = seen[-trusted] if len(seen) >= trusted else peer
    return _network(peer)


def _network(address: str) -> str:
    try:
        parsed = ipaddress.ip_address(address.strip("[]"))
    except ValueError:
        return address[:64]
    if isinstance(parsed, ipaddress.IPv6Address):
        return str(parsed.ipv4_mapped or ipaddress.ip_network((parsed, 64), strict=False))
    return str(parsed)
