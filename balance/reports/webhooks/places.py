"""Where a message may go: https, a usual port, and addresses that anybody on the internet could reach.

A receiver is named by whoever manages a farm, so its name may lead anywhere, also to the machines beside this one.
What the name says is looked at when it is given; where it leads is looked at each time, on the very address that is
connected to (``connecting``).
"""

from __future__ import annotations

import ipaddress
import re
from dataclasses import dataclass
from typing import Final

import httpx
from django.conf import settings

from records.errors import NotValid

PORTS: Final = frozenset({443, 8443})
#: What a name in an address is made of, after international letters became ASCII.
_HOST: Final = re.compile(r"[a-z0-9_](?:[a-z0-9._-]{0,251}[a-z0-9.])?|[0-9a-f:.]{2,45}")
#: Of IPv6, only what is given out as global unicast (RFC 4291, section 2.4; IANA gives out nothing else).
_GIVEN_OUT: Final = ipaddress.ip_network("2000::/3")
#: What ``ipaddress`` calls global, or may in another release, and yet leads inwards or to somewhere else than it says.
_DENIED: Final = tuple(
    ipaddress.ip_network(network)
    for network in (
        "100.64.0.0/10",  # shared by carriers (RFC 6598)
        "168.63.129.16/32",  # a cloud's own services to its machines, at a public address
        "169.254.0.0/16",  # link-local, where clouds tell machines their secrets
        "192.0.0.0/24",  # IETF protocol assignments (RFC 6890)
        "192.88.99.0/24",  # relays of 6to4 (RFC 7526)
        "64:ff9b::/96",  # IPv4 behind a translator (RFC 6052)
        "64:ff9b:1::/48",  # the same, locally (RFC 8215)
        "2001::/23",  # IETF protocol assignments, Teredo among them (RFC 4380)
        "2001:db8::/32",  # documentation (RFC 3849)
        "2002::/16",  # 6to4: carries any IPv4 address (RFC 3056)
        "3fff::/20",  # documentation (RFC 9637)
    )
)


@dataclass(frozen=True)
class Place:
    """A receiver's address in its parts, read once, so that nobody reads it otherwise later."""

    host: str
    port: int
    target: bytes
    named: bytes
    """Host and port as the header ``Host`` carries them."""

    @property
    def is_listed(self) -> bool:
        """Whether whoever runs the service lets messages go there, wherever it leads."""
        return f"{self.host}:{self.port}" in settings.WEBHOOKS_MAY_GO_TO


def place_of_url(url: str) -> Place:
    """Give the place that an address names.

    Raises
    ------
    NotValid
        It is no place that messages may go to.
    """
    try:
        parts = httpx.URL(url)
        host, port = parts.raw_host.decode("ascii").lower(), parts.port or 443
    except (httpx.InvalidURL, UnicodeError, ValueError) as error:
        raise _refused("This is no address. Write it as https://receiver.example/path.") from error
    if parts.scheme != "https":
        raise _refused("Messages go over https:// only, so that nobody reads or changes them on the way.")
    if not _HOST.fullmatch(host):
        raise _refused(
            "The address names no host that a name server could know. Write it as https://receiver.example/path."
        )
    if parts.userinfo or "@" in url.partition("://")[2].partition("/")[0]:
        raise _refused(
            "The address holds a name or password before '@'. The signature tells you who sends; leave it out."
        )
    if parts.fragment or "#" in url:
        raise _refused("The address holds a '#', and what follows it is never sent. Leave it out.")
    place = Place(host, port, parts.raw_path, parts.netloc)
    if place.is_listed:
        return place
    if port not in PORTS:
        raise _refused(f"Messages go to port 443 or 8443, not to {port}.")
    if not _may_be_named(host):
        raise _refused("The address leads to a place that is not public. Name one that anybody could reach.")
    return place


def is_public(address: str) -> bool:
    """Tell whether an address as the resolver gives it is one that anybody on the internet could reach.

    Anything that carries another address inside it is refused with what it carries.
    """
    try:
        parsed = ipaddress.ip_address(address)
    except ValueError:
        return False
    if isinstance(parsed, ipaddress.IPv6Address) and (parsed.scope_id or parsed not in _GIVEN_OUT):
        return False
    if parsed.is_multicast or parsed.is_reserved or parsed.is_unspecified or parsed.is_loopback:
        return False
    return parsed.is_global and not any(parsed in network for network in _DENIED if network.version == parsed.version)


def _may_be_named(host: str) -> bool:
    """Tell what can be seen without a resolver: an address that is not public, or a name that is no public one."""
    try:
        ipaddress.ip_address(host)
    except ValueError:
        return host.rstrip(".") != "localhost" and not host.rstrip(".").endswith((".localhost", ".local", ".internal"))
    return is_public(host)


def _refused(detail: str) -> NotValid:
    return NotValid.at("url", code="not_a_receiver", detail=detail)
