"""The sheets of an export: one for each table with a farm's rows, found so that a new table cannot be forgotten."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Final

from django.apps import apps
from django.db import connection, models
from django.db.models import Field, Model

from records.kinds import KINDS
from records.models import BalanceRange, Cultivar, CultivarGroup, Farm, PruningFormula
from records.models.catalogue import Owned

#: What carries a farm's id and yet is no record of it, each with its reason.
NOT_TAKEN_OUT: Final = {
    "job_ticket": "two ids and a lease, by which a worker is woken",
    "kept_answer": "answers that were given already, kept for thirty days in case a request is sent again",
    "block_season": "sums over the farm's own records, which are taken out whole",
    "block_season_mark": "which of those sums are to be made anew",
    "export_part": "the bytes of the exports themselves",
}
#: Columns that open something elsewhere, each with its reason; whoever holds an export must not hold them.
SECRET: Final = {
    ("webhook_endpoint", "secret"): "signs the messages to a receiver",
    ("webhook_endpoint", "former_secret"): "signs them, too, for a day after it was replaced",
}
#: The end of a column's name → what it is measured in.
UNITS: Final = {
    "_kg": "kg",
    "_m": "m",
    "_m2": "m2",
    "_brix": "degrees Brix",
    "_g_per_l": "g/L",
    "_minutes": "min",
    "_nodes": "nodes",
    "_value": "as sent, in the unit beside it",
    "_unit": "the unit as sent, a code of UCUM",
    "size": "bytes",
}
_NUMBERS: Final = (
    models.IntegerField,
    models.DecimalField,
    models.FloatField,
    models.BooleanField,
)


@dataclass(frozen=True)
class Column:
    """One column of a sheet: how it is read, and what it means."""

    name: str
    expression: str
    is_number: bool
    meaning: str


@dataclass(frozen=True)
class Sheet:
    """One table as it is taken out; ``source`` takes the farm's id where it asks for one."""

    name: str
    says: str
    columns: tuple[Column, ...]
    source: str
    order: str = '"id"'
    of_the_farm: bool = True
    #: Columns of bytes: each value becomes a file of its own, named by its row.
    binary: tuple[str, ...] = ()


def sheets() -> list[Sheet]:
    """Give every sheet: the farm, its tables, the names of its people, and the catalogue that its rows point into."""
    return [_of_the_farm_itself(), *map(_of_a_table, tables_of_a_farm()), _people(), *_catalogue()]


def tables_of_a_farm() -> list[type[Model]]:
    """Give every model whose rows carry the farm that they belong to, but for those that are no records."""
    found = [model for model in apps.get_models() if any(field.column == "farm_id" for field in _fields(model))]
    return sorted((model for model in found if _table(model) not in NOT_TAKEN_OUT), key=_table)


def _of_the_farm_itself() -> Sheet:
    return Sheet("farm", _says(Farm), _columns(Farm), 'FROM "farm" t WHERE "id" = %s')


def _of_a_table(model: type[Model]) -> Sheet:
    table = connection.ops.quote_name(_table(model))
    binary = tuple(str(field.column) for field in _fields(model) if isinstance(field, models.BinaryField))
    source = f'FROM {table} t WHERE "farm_id" = %s'
    return Sheet(_table(model), _says(model), _columns(model), source, binary=binary)


def _people() -> Sheet:
    source = 'FROM "person" t WHERE "id" IN (SELECT "person_id" FROM "membership" WHERE "farm_id" = %s)'
    columns = (
        Column("id", 't."id"', is_number=False, meaning="As person_id and the like name it elsewhere."),
        Column("name", 't."name"', is_number=False, meaning="How the person is called."),
    )
    return Sheet("people", "One person who has a part in the farm.", columns, source)


def _catalogue() -> Iterator[Sheet]:
    """Give what the rows point into although it is no farm's: without it, nobody could read the export alone."""
    for model in (Cultivar, CultivarGroup, PruningFormula, BalanceRange):
        table = connection.ops.quote_name(_table(model))
        order = connection.ops.quote_name(str(model._meta.pk.column))  # noqa: SLF001 - Django's own way to it
        name = f"catalogue/{_table(model)}"
        owned = issubclass(model, Owned)  # what a program added stays: rows of the farm may point into it
        source = f"FROM {table} t" + (' WHERE "owner_farm_id" IS NULL OR "owner_farm_id" = %s' if owned else "")
        yield Sheet(name, _says(model), _columns(model), source, order, of_the_farm=owned)


def _columns(model: type[Model]) -> tuple[Column, ...]:
    return tuple(_column(model, field) for field in _fields(model) if (_table(model), str(field.column)) not in SECRET)


def _column(model: type[Model], field: Field[object, object]) -> Column:
    name = str(field.column)
    quoted = f"t.{connection.ops.quote_name(name)}"
    if isinstance(field, models.BinaryField):
        quoted = f"CASE WHEN {quoted} IS NOT NULL THEN '{file_name(_table(model), '', name)}' || t.\"id\" END"
    return Column(name, quoted, isinstance(field, _NUMBERS), _meaning(field))


def file_name(table: str, row_id: object, column: str) -> str:
    """Give the name of the file that holds one value of a column of bytes."""
    return f"files/{table}.{column}/{row_id}"


def _meaning(field: Field[object, object]) -> str:
    name = str(field.column)
    unit = next((unit for end, unit in UNITS.items() if name.endswith(end)), "")
    says = str(field.help_text) or _said_by_its_kind(_table(field.model), name)
    related = field.related_model
    points = f"Id of a row of {_table(related)}." if isinstance(related, type) else ""
    as_file = "Name of the file in this archive that holds it." if isinstance(field, models.BinaryField) else ""
    parts = (f"[{unit}]" if unit else "", says, points, as_file)
    return " ".join(part for part in parts if part)


def _said_by_its_kind(table: str, column: str) -> str:
    """Give what the description of a kind of record says of the member that a column belongs to."""
    kind = KINDS.get(table)
    return next((member.says for member in kind.members if column in member.columns), "") if kind else ""


def _fields(model: type[Model]) -> list[Field[object, object]]:
    return list(model._meta.concrete_fields)  # noqa: SLF001 - Django's own way to a model's columns


def _table(model: type[Model]) -> str:
    return str(model._meta.db_table)  # noqa: SLF001


def _says(model: type[Model]) -> str:
    return (model.__doc__ or "").strip().splitlines()[0]
