"""How the rules of a kind's members are named: as the sentences they keep."""

from __future__ import annotations

from decimal import Decimal

from records.kinds.members import Count, Measured, Number


def range_name(table: str, member: Count | Number | Measured) -> str:
    """Give the name of the constraint that holds a member between its bounds."""
    bounds = f"{_in_a_name(member.low)}_to_{_in_a_name(member.high)}"
    if isinstance(member, Measured) and member.above:
        bounds = f"up_to_{_in_a_name(member.high)}"
    unit = f"_{member.canonical.removeprefix(f'{member.name}_')}" if isinstance(member, Measured) else ""
    return f"{table}_{member.name}_{bounds}{unit}"


def _in_a_name(value: Decimal | int) -> str:
    return plain(value).replace(".", "_")


def plain(value: Decimal | int) -> str:
    """Give a bound as people write it."""
    return f"{value:f}"
