"""A line about a vine that has a record already: what is empty there is filled, and nothing is overwritten.

The winter's work comes in two files: the weights when the canes are cut, the counts when the vines are pruned.  The
second completes the records that the first made, as a new version of each, with the file as the reason.
"""

from __future__ import annotations

import uuid
from collections.abc import Sequence
from dataclasses import dataclass, field
from decimal import Decimal
from typing import Any, Final

from django.db import connection

from records.context import set_context
from records.imports.checking import Finding
from records.imports.planning import PlannedVine
from records.inserting import as_parameter, recordset
from records.kinds.definitions import DORMANT_RECORD
from records.models import DormantRecord, Import
from records.models.imports import Existing
from records.services.recording import member_columns
from records.units import to_canonical

_FILLED: Final = ("pruning_weight_value", "pruning_weight_unit", "pruning_weight_kg", "nodes_retained")


@dataclass(frozen=True)
class OnRecord:
    """What is on record for a vine and season."""

    record_id: uuid.UUID
    weight_kg: Decimal | None = None
    nodes_retained: int | None = None
    withdrawn: bool = False


@dataclass(frozen=True)
class Settled:
    """What a line adds to the record that stands, and where the two contradict each other."""

    record_id: uuid.UUID | None = None
    fills: dict[str, Any] = field(default_factory=dict)
    clashes: tuple[Finding, ...] = ()


nothing_to_settle: Final = Settled()


def settled(imported: Import, planned: PlannedVine, standing: OnRecord) -> Settled:
    """Hold a line against the record that stands: it stands, and the file's is kept as sent."""
    if standing.withdrawn:
        return Settled(standing.record_id, clashes=(planned.finding("pruning_weight", "withdrawn", _WITHDRAWN),))
    fills: dict[str, Any] = {}
    clashes: list[Finding] = []
    completes = imported.existing == Existing.COMPLETE
    weight, nodes = planned.weight, planned.nodes_retained
    if weight is not None and standing.weight_kg != to_canonical(weight, "mass"):
        if standing.weight_kg is None and completes:
            fills |= member_columns(DORMANT_RECORD, {"pruning_weight": weight}, only_said=True)
        else:
            kg = standing.weight_kg
            what = _EMPTY.format("weight") if kg is None else f"{kg.normalize():f} kg"
            clashes.append(planned.finding("pruning_weight", "already_recorded", _stands(imported, what)))
    if nodes is not None and standing.nodes_retained != nodes:
        if standing.nodes_retained is None and completes:
            fills |= {"nodes_retained": nodes}
        else:
            there = standing.nodes_retained
            what = _EMPTY.format("count") if there is None else f"a count of {there}"
            clashes.append(planned.finding("nodes_retained", "already_recorded", _stands(imported, what)))
    return Settled(standing.record_id, fills, tuple(clashes))


_WITHDRAWN: Final = (
    "the record that an earlier file made of this vine and season was withdrawn, and a file does not bring it back; "
    "ask for its reinstatement"
)
_EMPTY: Final = "no {} (existing=complete would fill it)"


def _stands(imported: Import, what: str) -> str:
    return f"the vine has a record for season {imported.season} with {what}, which stands; correct it there if need be"


def fill(imported: Import, completed: Sequence[Settled]) -> None:
    """Fill what is empty on records that the open transaction has locked; the version before each stays readable."""
    if not completed:
        return
    rows = [{"id": each.record_id, **dict.fromkeys(_FILLED), **each.fills} for each in completed]
    given = recordset(DormantRecord, rows[0])
    filled = ", ".join(f"{name} = coalesce(t.{name}, given.{name})" for name in _FILLED)
    set_context(reason=f"completed by the import of {imported.file_name}"[:400])
    with connection.cursor() as cursor:
        cursor.execute(
            f"UPDATE dormant_record t SET {filled}, version = t.version + 1, changed_at = statement_timestamp() "  # noqa: S608
            f"FROM {given} WHERE t.farm_id = %s AND t.id = given.id",
            [as_parameter(rows), imported.farm_id],
        )
