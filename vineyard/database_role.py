"""Refuse to serve as a role that the walls between farms do not hold."""

from __future__ import annotations

from django.db import connection


class UnsafeRole(Exception):
    """The service would connect as a role that can look over the walls."""


def refuse_unsafe_role() -> None:
    """Stop the start when the serving role is a superuser, bypasses row-level security or owns tables.

    Raises
    ------
    UnsafeRole
        With a sentence that says which role it is and what to do.
    """
    with connection.cursor() as cursor:
        cursor.execute(
            """
            SELECT current_user, rolsuper, rolbypassrls,
                   EXISTS (SELECT FROM pg_class WHERE relowner = r.oid AND relkind IN ('r', 'p')
                           AND relnamespace = 'public'::regnamespace)
            FROM pg_roles r WHERE rolname = current_user
            """
        )
        role, superuser, bypasses, owner = cursor.fetchone()
    reasons = [
        reason
        for holds, reason in (
            (superuser, "is a superuser"),
            (bypasses, "bypasses row-level security"),
            (owner, "owns the tables"),
        )
        if holds
    ]
    if reasons:
        raise UnsafeRole(
            f"DATABASE_URL connects as {role!r}, which {' and '.join(reasons)}: the walls between farms would not "
            "hold. Serve as a role of its own, without these rights; see 'How it is deployed' in README.md."
        )
