"""The two roles and the database: the only work done as superuser; everything else is a migration."""

from __future__ import annotations

from typing import Final

import psycopg
from psycopg import sql

OWNER: Final = "vineyard_owner"
SERVING: Final = "vineyard_app"
DATABASE: Final = "vineyard"
_UNPRIVILEGED: Final = "LOGIN NOSUPERUSER NOBYPASSRLS NOCREATEROLE NOREPLICATION "


def make_roles(superuser_address: str, *, may_create_databases: bool) -> None:
    """Make the role that owns the tables, the role that serves, and the database; safe to repeat.

    Neither is a superuser or bypasses row-level security, and the serving role may create no table.
    """
    owner = _UNPRIVILEGED + ("CREATEDB" if may_create_databases else "NOCREATEDB")
    with psycopg.connect(superuser_address, autocommit=True) as connection:
        for role, rights in ((OWNER, owner), (SERVING, _UNPRIVILEGED + "NOCREATEDB")):
            known = connection.execute("SELECT 1 FROM pg_roles WHERE rolname = %s", [role]).fetchone()
            statement = ("ALTER" if known else "CREATE") + " ROLE {} " + rights
            connection.execute(sql.SQL(statement).format(sql.Identifier(role)))
        if not connection.execute("SELECT 1 FROM pg_database WHERE datname = %s", [DATABASE]).fetchone():
            connection.execute(
                sql.SQL("CREATE DATABASE {} OWNER {}").format(sql.Identifier(DATABASE), sql.Identifier(OWNER))
            )
