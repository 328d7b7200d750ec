"""Insert many rows in one statement.

Django writes a statement with a placeholder for every value as soon as a column has a default of the database's own;
making and taking apart such a statement took three quarters of an import.  Here the rows travel as one parameter.
COPY would be shorter still, but PostgreSQL refuses it on tables with row-level security.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import orjson
from django.db import connection, models


def insert_rows(model: type[models.Model], rows: Sequence[Mapping[str, Any]], *, skip_known: bool = False) -> None:
    """Insert rows, each a mapping of the same columns by attribute name; columns left out get the model's defaults.

    ``skip_known`` leaves out a row where a unique key holds its place already.
    """
    if not rows:
        return
    defaults = _defaults(model, rows[0])
    whole = [{**defaults, **row} for row in rows]
    taken = " ON CONFLICT DO NOTHING" if skip_known else ""
    listed, given = _columns(model, whole[0])
    table = connection.ops.quote_name(model._meta.db_table)  # noqa: SLF001 - Django documents it under this name
    statement = f"INSERT INTO {table} ({listed}) SELECT {listed} FROM {given}{taken}"  # noqa: S608 - names of our own
    with connection.cursor() as cursor:
        cursor.execute(statement, [as_parameter(whole)])


def _defaults(model: type[models.Model], row: Mapping[str, Any]) -> dict[str, Any]:
    """Give what stands in the columns that a row leaves out and for which the database itself has no default."""
    fields = (field for field in model._meta.concrete_fields if field.attname not in row)  # noqa: SLF001
    return {field.attname: field.get_default() for field in fields if not field.has_db_default()}


def recordset(model: type[models.Model], columns: Mapping[str, Any]) -> str:
    """Give the SQL that makes a table named ``given`` of one parameter from ``as_parameter``."""
    return _columns(model, columns)[1]


def as_parameter(rows: Sequence[Mapping[str, Any]]) -> str:
    """Write rows as the one parameter that a recordset takes; numbers that must stay exact are texts in it."""
    return orjson.dumps(rows, default=str).decode()


def _columns(model: type[models.Model], row: Mapping[str, Any]) -> tuple[str, str]:
    fields = {field.attname: field for field in model._meta.concrete_fields}  # noqa: SLF001
    names = [connection.ops.quote_name(str(fields[name].column)) for name in row]
    keys = ", ".join(
        f"{connection.ops.quote_name(name)} {fields[name].db_type(connection)}" for name in row
    )  # fmt: skip
    if any(fields[name].column != name for name in row):
        raise ValueError("a column is called by another name than its attribute")
    return ", ".join(names), f"json_to_recordset(%s::json) AS given ({keys})"
