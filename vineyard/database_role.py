"""Refuse to serve as a role that the walls between farms do not hold."""

from __future__ import annotations

import logging
from typing import Any, Final
from wsgiref.types import StartResponse, WSGIApplication, WSGIEnvironment

import orjson
from django.db import Error, connection

from vineyard.api.problems import CONTENT_TYPE, KINDS, problem

log = logging.getLogger("vineyard.start")

_ROLE: Final = """
    SELECT current_user, rolsuper, rolbypassrls,
           EXISTS (SELECT FROM pg_class
                   WHERE relkind IN ('r', 'p') AND relnamespace = 'public'::regnamespace
                     AND NOT r.rolsuper AND pg_has_role(r.oid, relowner, 'MEMBER')),
           EXISTS (SELECT FROM pg_roles other
                   WHERE NOT r.rolsuper AND other.oid <> r.oid AND (other.rolsuper OR other.rolbypassrls)
                     AND pg_has_role(r.oid, other.oid, 'MEMBER'))
    FROM pg_roles r WHERE rolname = current_user
"""
_REASONS: Final = (
    "is a superuser",
    "bypasses row-level security",
    "owns the tables, itself or through a role that it belongs to",
    "belongs to a role that is a superuser or bypasses row-level security",
)


class UnsafeRole(Exception):
    """The service would connect as a role that can look over the walls."""


def refuse_unsafe_role() -> None:
    """Stop the start when the serving role is a superuser, bypasses row-level security or owns tables.

    A role counts as what it may become by ``SET ROLE``, too.

    Raises
    ------
    UnsafeRole
        With a sentence that says which role it is and what to do.
    """
    with connection.cursor() as cursor:
        cursor.execute(_ROLE)
        role, *holds = cursor.fetchone()
    reasons = [reason for held, reason in zip(holds, _REASONS, strict=True) if held]
    if reasons:
        raise UnsafeRole(
            f"DATABASE_URL connects as {role!r}, which {' and '.join(reasons)}: the walls between farms would not "
            "hold. Serve as a role of its own, without these rights; see 'How it is deployed' in README.md."
        )


class SafeRole:
    """Serves no records until the serving role was looked at: at the start, or else before the first answer.

    A database that is away at the start must not be a way round the look.
    """

    def __init__(self, inner: WSGIApplication) -> None:
        self.inner = inner
        self.seen_safe = False

    def look(self) -> bool:
        """Look at the role, and tell whether it was seen to be safe: not while the database is away.

        Raises
        ------
        UnsafeRole
            It is one that the walls do not hold.
        """
        try:
            refuse_unsafe_role()
            self.seen_safe = True
        except Error as error:
            log.warning("the serving role could not be looked at: %s", type(error).__name__)
        finally:
            connection.close()
        return self.seen_safe

    def __call__(self, environ: WSGIEnvironment, start_response: StartResponse) -> Any:
        if self.seen_safe or not environ["PATH_INFO"].startswith("/api/"):
            return self.inner(environ, start_response)
        try:
            if self.look():
                return self.inner(environ, start_response)
        except UnsafeRole as refusal:
            log.critical("%s", refusal)
        start_response("503 Service Unavailable", [("Content-Type", CONTENT_TYPE), ("Retry-After", "5")])
        return [orjson.dumps(problem(KINDS["unavailable"], "The records cannot be reached. Nothing was stored."))]
