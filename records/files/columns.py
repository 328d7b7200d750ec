"""The columns of a file of one kind of record: the same in the template, in a file taken in, and in one taken out.

A file names vines as people do, by block, row and place.  A measured quantity stands as it was measured, in a column
with its unit beside it (in ``…_unit``, or once for the whole column in the row of units); a file taken out shows it in
the canonical unit, too, in a column such as ``pruning_weight [kg]``, which is not read back.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Final

from records.kinds import Kind, Place
from records.kinds.members import Choice, Count, Flag, Measured, Member, Number, Several, Stage
from records.units import CANONICAL, UNITS

#: What a line begins with that is no record: the row of units, an example, a hint of the service.
UNITS_ROW: Final = "# units"
EXAMPLE_ROW: Final = "# example"
MORE_ROW: Final = "# more"
NO_RECORD: Final = (UNITS_ROW, EXAMPLE_ROW, MORE_ROW)
#: Written where somebody looked and found none; an empty cell says that nobody looked.
NONE: Final = "none"


@dataclass(frozen=True)
class Column:
    """One column: its heading, what it means, its unit, and the words that it may hold."""

    heading: str
    says: str
    unit: str = ""
    words: tuple[str, ...] = ()
    number: bool = False
    member: Member | None = None


def places_of(kind: Kind) -> tuple[Column, ...]:
    """Give the columns that say what a line is about and when it was seen."""
    whole = "" if kind.place is Place.VINE else " Empty, and vine too, for a record of the whole block."
    return (
        Column("block", "Name of the block, as the farm has it."),
        Column("row", f"Number of the row.{whole}", unit="1", number=True),
        Column("vine", f"Place of the vine, counted along the row from 1.{whole}", unit="1", number=True),
        Column(
            "observed_at",
            "When it was seen: 2027-01-16T10:02:00-05:00. Without an offset it is the farm's own time; a date without "
            "a time is taken for its noon; empty where only the season is known.",
        ),
        Column("season", "Harvest year; needed only where the date does not say it.", unit="a", number=True),
    )


def after(kind: Kind) -> tuple[Column, ...]:  # noqa: ARG001 - every kind has the same so far
    """Give the columns that every kind has at its end."""
    return (
        Column("note", "Anything else, in the farm's words."),
        Column("device", "The device, as it is named."),
        Column("id", "Id of the record; leave it empty for a new one."),
        Column("version", "Version that you changed; only with existing=update.", unit="1", number=True),
    )


def columns_of(kind: Kind) -> tuple[Column, ...]:
    """Give the columns that are read from a file of a kind."""
    members = tuple(column for member in kind.members for column in of_member(member))
    return (*places_of(kind), *members, *after(kind))


def of_member(member: Member) -> Iterator[Column]:
    """Give the columns of one member, in which a file says it."""
    name, says = member.name, member.says
    if isinstance(member, Measured):
        units = tuple(code for code, unit in UNITS.items() if unit.dimension == member.dimension)
        yield Column(name, says, usual_unit(member), number=True, member=member)
        yield Column(f"{name}_unit", "Its unit, where it is not the column's.", words=units, member=member)
    elif isinstance(member, Stage):
        scales = ("bbch", "eichhorn_lorenz", "modified_eichhorn_lorenz")
        yield Column(f"{name}_scale", says, words=scales, member=member)
        yield Column(f"{name}_code", "The code on that scale, with its leading nought.", member=member)
    elif isinstance(member, Several):
        yield Column(name, f"{says} Separate words by ;. {NONE!r}: looked for, and not there.", words=member.words,
                     member=member)  # fmt: skip
    else:
        yield Column(name, says, _unit_of(member), _words_of(member), isinstance(member, Count | Number), member)


def usual_unit(member: Measured) -> str:
    """Give the unit in which the template expects a quantity."""
    return CANONICAL[member.dimension]


def _unit_of(member: Member) -> str:
    if isinstance(member, Count):
        return "{node}" if "node" in member.name else "1"
    if member.name.startswith("days_"):
        return "d"
    return "1" if isinstance(member, Number) else ""


def _words_of(member: Member) -> tuple[str, ...]:
    if isinstance(member, Flag):
        return ("yes", "no")
    return member.words if isinstance(member, Choice) else ()


def shown_only(kind: Kind) -> tuple[str, ...]:
    """Give the headings of a file taken out that are not read back: they follow from the others."""
    canonical = tuple(canonical_heading(member) for member in kind.members if isinstance(member, Measured))
    return (*canonical, "label", "app_name", "source", "received_at", "changed_at")


def canonical_heading(member: Measured) -> str:
    """Give the heading of a quantity in its canonical unit."""
    return f"{member.name} [{CANONICAL[member.dimension]}]"
