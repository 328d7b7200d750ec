"""Where a request comes from: what our own proxies saw, never what a client says of itself."""

from __future__ import annotations

import pytest

from vineyard.addresses import address_of


@pytest.mark.parametrize(
    ("proxies", "peer", "forwarded", "address"),
    [
        (0, "192.0.2.7", "198.51.100.1", "192.0.2.7"),
        (1, "192.0.2.7", "198.51.100.1", "198.51.100.1"),
        (1, "192.0.2.7", "203.0.113.9, 198.51.100.1", "198.51.100.1"),
        (2, "192.0.2.7", "203.0.113.9, 198.51.100.1,192.0.2.8", "198.51.100.1"),
        (2, "192.0.2.7", "198.51.100.1", "192.0.2.7"),
        (1, "192.0.2.7", "", "192.0.2.7"),
        (0, "2001:db8:1:2:3:4:5:6", "", "2001:db8:1:2::/64"),
        (0, "::ffff:192.0.2.7", "", "192.0.2.7"),
        (1, "192.0.2.7", "not an address", "not an address"),
        (0, "", "", ""),
    ],
)
def test_the_address_of_a_request(proxies, peer, forwarded, address, settings):
    settings.TRUSTED_PROXIES = proxies
    assert address_of({"REMOTE_ADDR": peer, "HTTP_X_FORWARDED_FOR": forwarded}) == address
