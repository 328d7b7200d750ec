"""The service as granian starts it, with the probe's addresses: for tests over a real socket."""

from __future__ import annotations

from django.conf import settings

from vineyard.front import Front


def served() -> Front:
    """Give the application; it looks at the database when it is imported, so only a server imports it."""
    from vineyard.rsgi import application

    settings.ROOT_URLCONF = "tests.vineyard.api.probe_urls"
    return application
