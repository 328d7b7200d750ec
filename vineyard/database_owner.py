"""Act as the role that owns the tables, for as long as a migration takes."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager

from django.conf import settings
from django.db import connections
from django.db.backends.base.base import BaseDatabaseWrapper


@contextmanager
def as_owner(alias: str = "default") -> Iterator[BaseDatabaseWrapper]:
    """Let one connection be the owner's; afterwards it is the serving role's again."""
    connection = connections[alias]
    before = dict(connection.settings_dict)
    database = connection.settings_dict["NAME"]
    connection.close()
    connection.settings_dict.update(settings.DATABASE_OWNER.as_django(), NAME=database)
    # A migration may take longer than a request, but it must never queue for a lock before other people's writes:
    # it gives up after two seconds and is tried again (vineyard.migrating).  No statement of it takes an hour.
    connection.settings_dict["OPTIONS"] = {
        **before["OPTIONS"],
        "options": "-c statement_timeout=3600000 -c lock_timeout=2000",
    }
    try:
        yield connection
    finally:
        connection.close()
        before["NAME"] = connection.settings_dict["NAME"]  # a test run has moved to its own database meanwhile
        connection.settings_dict.clear()
        connection.settings_dict.update(before)
