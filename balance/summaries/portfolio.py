"""A portfolio: every farm that the caller may read, by their own role or by a consent that is in force now."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from balance.summaries.filters import Filters
from records.access import Caller, Part, Right, farms_of, parts_of
from records.context import set_context
from records.models import Farm


@dataclass(frozen=True)
class Portfolio:
    """The farms of a summary, open to this transaction, each with the part that lets the caller read it."""

    farms: Sequence[tuple[Farm, Part]]


def open_portfolio(caller: Caller, filters: Filters) -> Portfolio:
    """Open the farms that the caller may read and the filters mean, and no others.

    Raises
    ------
    NotAllowed
        The key does not carry the scope ``read``.
    NotValid
        A filter names what no farm has, or there are too many farms.
    """
    parts = {farm_id: part for farm_id, part in parts_of(caller).items() if Right.READ in part.rights}
    readable = farms_of(caller, parts).order_by("name", "pk")
    found = filters.farms_among(list(readable))
    set_context(farms=[farm.pk for farm in found])
    return Portfolio([(farm, parts[farm.pk]) for farm in found])
