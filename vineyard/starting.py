"""What every start does before it serves: migrate, load the catalogues, look at the role."""

from __future__ import annotations

from collections.abc import Callable

from django.conf import settings
from django.core.management import call_command
from django.db import connection

from records.services.catalogue import load_catalogues
from vineyard.database_role import refuse_unsafe_role


def prepare_database(say: Callable[[str], None]) -> None:
    """Bring the database up to this version, if its owner's address is known, and refuse an unsafe role.

    Raises
    ------
    UnsafeRole
        The serving role could look over the walls between farms.
    """
    refuse_unsafe_role()
    if settings.DATABASE_OWNER.host != "nowhere":
        say("Bringing the database up to this version")
        call_command("migrate", verbosity=0, interactive=False)
        refuse_unsafe_role()  # before there were tables, the role could not own them
    say("Loading cultivars and formulas")
    load_catalogues(settings.FIXTURES_DIR / "catalogue")
    connection.close()  # the children open their own


def has_no_tables() -> bool:
    """Tell whether the database is as it was made, without a single migration."""
    empty = "django_migrations" not in connection.introspection.table_names()
    connection.close()
    return empty
