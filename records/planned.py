"""Statements that are asked again and again: PostgreSQL plans each once a connection, and not every time.

To plan the look-up of a key, or of a role behind row-level security, takes PostgreSQL several times as long as to carry
it out; and for Django to write it, longer than both.  So what every request asks stands as text in its module, few
in number, with parameters for all that differs.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from functools import cache
from typing import Any, TypeVar

import psycopg
from django.db import DEFAULT_DB_ALIAS, NotSupportedError, OperationalError, connections
from django.db.models import Model

M = TypeVar("M", bound=Model)
Values = Sequence[Any] | Mapping[str, Any]


class _Planned(psycopg.Cursor[Any]):
    """A cursor whose statements are kept by the connection; their values travel beside them, not in them."""

    def execute(self, query: Any, params: Any = None, **_: Any) -> Any:
        return super().execute(query, params, prepare=True)


@contextmanager
def _cursor(using: str) -> Iterator[Any]:
    """Give a cursor as Django gives it, counted and with Django's exceptions, around one that keeps plans.

    PostgreSQL refuses a kept plan whose columns have other types since a migration.  The plans go with the connection,
    and the request is answered as if the database had gone away: sent again it succeeds.
    """
    connection = connections[using]
    try:
        with connection.cursor() as cursor:
            cursor.cursor = _Planned(cursor.connection)
            yield cursor
    except NotSupportedError as refused:
        connection.close()
        raise OperationalError("a table was changed under a plan that was kept") from refused


def ask(statement: str, values: Values, *, using: str = DEFAULT_DB_ALIAS, again: bool = True) -> list[tuple[Any, ...]]:
    """Give the rows that a statement finds; ``again`` not, it is planned for these values alone and not kept."""
    with _cursor(using) if again else connections[using].cursor() as cursor:
        cursor.execute(statement, values)
        rows: list[tuple[Any, ...]] = cursor.fetchall()
        return rows


def carry_out(statement: str, values: Values, *, using: str = DEFAULT_DB_ALIAS) -> None:
    """Carry out a statement that gives nothing back."""
    with _cursor(using) as cursor:
        cursor.execute(statement, values)


def columns(model: type[Model], table: str) -> str:
    """Give all columns of a model for a statement in which its table goes by this name."""
    return ", ".join(f'{table}."{field.column}"' for field in model._meta.concrete_fields)  # noqa: SLF001


def made(model: type[M], row: Sequence[Any]) -> M:
    """Make the object of a row with the model's columns in their order."""
    return model.from_db(DEFAULT_DB_ALIAS, _names(model), row)


def width(model: type[Model]) -> int:
    """Give how many columns a model has."""
    return len(_names(model))


@cache
def _names(model: type[Model]) -> list[str]:
    return [field.attname for field in model._meta.concrete_fields]  # noqa: SLF001
