"""What farms and programs add to the shared catalogues of formulas and ranges.

Whoever adds owns every version of it, and a version is never changed and never removed: what was told by it can be
defended for ever.  Row-level security shows an owner's rows to nobody else; the queries here begin with the owner all
the same, because a lead who also has a farm sees the rows of both.
"""

from __future__ import annotations

import re
import uuid
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Final, Generic, TypeVar

from django.db.models import Max, Q, QuerySet

from records.access import Caller, OpenFarm, Right, hold, open_program_catalogue
from records.errors import Conflict, NotFound
from records.models import BalanceRange, Farm, Program, PruningFormula

Entry = TypeVar("Entry", PruningFormula, BalanceRange)

#: What every own code begins with, so that nobody takes it for a shared one.
OF_A_FARM: Final = "own-"
OF_A_PROGRAM: Final = "program-"
#: More rows than this belong to a mistake, not to a farm.
MOST_OF_ONE_OWNER: Final = 1_000
SPELLING: Final = re.compile(r"([A-Za-z0-9][A-Za-z0-9_.-]{0,59})(?:@([1-9][0-9]{0,3}))?", re.ASCII)

_VERSIONS: Final[Mapping[type[Any], str]] = {PruningFormula: "formula_version", BalanceRange: "range_version"}
_SHARED: Final = Q(owner_farm=None, owner_program=None)


@dataclass(frozen=True)
class Added(Generic[Entry]):
    """A version as it stands, and whether this call made it."""

    row: Entry
    created: bool


def shared(model: type[Entry]) -> QuerySet[Entry]:
    """Give the rows that are everybody's."""
    return _rows(model).filter(_SHARED)


def usable_by(model: type[Entry], farm: Farm) -> QuerySet[Entry]:
    """Give the rows that a farm may use: everybody's, those of the program that it takes part in, and its own."""
    programs = Q(owner_program=farm.program_id) if farm.program_id is not None else Q(pk=None)
    return _rows(model).filter(_SHARED | programs | Q(owner_farm=farm))


def of_program(model: type[Entry], program: Program) -> QuerySet[Entry]:
    """Give the rows that a program added."""
    return _rows(model).filter(owner_program=program)


def named(rows: QuerySet[Entry], spelling: str) -> Entry | None:
    """Give the row that ``code`` (its newest version) or ``code@version`` names, if it is among these rows."""
    read = SPELLING.fullmatch(spelling)
    if read is None:
        return None
    version = _VERSIONS[rows.model]
    found = rows.filter(code=read[1], **({version: int(read[2])} if read[2] else {}))
    return found.order_by(f"-{version}").first()


def version_named(rows: QuerySet[Entry], spelling: str) -> Entry:
    """Give the row that ``code@version`` names; the newest version may become another one, so it must be said which.

    Raises
    ------
    NotFound
        These rows hold no such version.
    """
    found = named(rows, spelling) if "@" in spelling else None
    if found is None:
        raise NotFound(f"There is no {spelling[:70]!r} here. Write code and version, such as {OF_A_FARM}example@1.")
    return found


def add_to_farm(opened: OpenFarm, model: type[Entry], columns: Mapping[str, Any], **derived: Any) -> Added[Entry]:
    """Add a version to what is a farm's own; a version of the same content is given again.

    ``columns`` say what the version is; ``derived`` follow from them and are stored beside them.
    """
    opened.require(Right.MANAGE)
    hold(opened)  # one after the other, so that two who add at once get two versions
    return _add(model, {"owner_farm": opened.farm}, columns, derived)


def add_to_program(
    caller: Caller, program_id: uuid.UUID, model: type[Entry], columns: Mapping[str, Any], **derived: Any
) -> Added[Entry]:
    """Add a version to what is a program's own; a version of the same content is given again."""
    program = open_program_catalogue(caller, program_id, writes=True)
    held = Program.objects.select_for_update(no_key=True).get(pk=program.pk)
    return _add(model, {"owner_program": held}, columns, derived)


def _add(
    model: type[Entry], owner: Mapping[str, Farm | Program], columns: Mapping[str, Any], derived: Mapping[str, Any]
) -> Added[Entry]:
    """Make the next version, unless one of the same content is there: a request may come again after years."""
    version = _VERSIONS[model]
    own = _rows(model).filter(**owner)
    same = own.filter(**columns).order_by(version).first()
    if same is not None:
        return Added(same, created=False)
    if own.count() >= MOST_OF_ONE_OWNER:
        raise Conflict(f"There are {MOST_OF_ONE_OWNER} versions already, and none can be removed. Use one of those.")
    newest = own.filter(code=columns["code"]).aggregate(newest=Max(version))["newest"]
    row = model(**owner, **columns, **derived, source_mark="farm", is_default=False, **{version: (newest or 0) + 1})
    row.save(force_insert=True)
    return Added(_rows(model).get(pk=row.pk), created=True)


def _rows(model: type[Entry]) -> QuerySet[Entry]:
    return model._default_manager.all()  # noqa: SLF001 - Django's own name for it
