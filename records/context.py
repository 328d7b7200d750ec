"""The context of a transaction: whose rows it may touch, and on whose behalf.

PostgreSQL's row-level security and the history trigger read it.  It is set with ``set_config(…, true)`` only,
so it ends with the transaction and can never reach the next borrower of a kept connection.
"""

from __future__ import annotations

from typing import Final

from django.db import DEFAULT_DB_ALIAS, connections

from records.planned import ask

_NAMES: Final = {"person", "farms", "key", "request", "reason", "register", "sweep"}


class NoTransaction(RuntimeError):
    """A context was set outside a transaction, where it would be gone at once."""


def set_context(*, using: str = DEFAULT_DB_ALIAS, **values: object) -> None:
    """Set members of the context for the rest of this transaction, of the connection ``using``.

    ``person``, ``key``: ids; ``farms``: a list of farm ids; ``request``, ``reason``: text; ``register``: ``on`` to read
    the register of farms, which the database shows to staff alone.
    """
    unknown = values.keys() - _NAMES
    if unknown:
        raise KeyError(f"no such member of the context: {', '.join(sorted(unknown))}")
    if not connections[using].in_atomic_block:
        raise NoTransaction("open a transaction before setting its context")
    calls = ", ".join("set_config(%s, %s, true)" for _ in values)
    arguments: list[str] = []
    for name, value in values.items():
        arguments += [f"app.{name}", _as_text(value)]
    ask(f"SELECT {calls}", arguments, using=using)


def _as_text(value: object) -> str:
    if value is None:
        return ""
    if isinstance(value, list | tuple | set | frozenset):
        return ",".join(str(item) for item in value)
    return str(value)
