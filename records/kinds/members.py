"""What a member of a record can be: a count, a measured quantity, a word from a list, text, yes or no.

One description serves everything: the check in the database and its sentence, the fields of the API, the fast way
of the bulk endpoint and the columns of the file templates.  Nothing here knows Django.

Missing, zero and not measured are three things: a member left out or null was not measured, zero is a finding.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from decimal import Decimal
from typing import Final

from records.units import CANONICAL, SUFFIX


@dataclass(frozen=True)
class Member:
    """One member of a record; ``says`` is what the documentation tells about it."""

    name: str
    says: str
    required: bool = field(default=False, kw_only=True)

    @property
    def columns(self) -> tuple[str, ...]:
        return (self.name,)


@dataclass(frozen=True)
class Count(Member):
    """A whole number between two bounds; ``default`` stands where nothing was said."""

    low: int
    high: int
    default: int | None = field(default=None, kw_only=True)


@dataclass(frozen=True)
class Number(Member):
    """A decimal number without a unit, such as pH."""

    low: Decimal
    high: Decimal
    decimals: int


@dataclass(frozen=True)
class Measured(Member):
    """A quantity: value and unit as sent, beside the exact value in the canonical unit of its dimension.

    The bounds are in the canonical unit; ``above`` leaves out the lower bound itself.
    """

    dimension: str
    low: Decimal
    high: Decimal
    above: bool = field(default=False, kw_only=True)

    @property
    def canonical(self) -> str:
        return f"{self.name}_{SUFFIX[self.dimension]}"

    @property
    def columns(self) -> tuple[str, ...]:
        return (f"{self.name}_value", f"{self.name}_unit", self.canonical)

    @property
    def unit(self) -> str:
        return CANONICAL[self.dimension]


@dataclass(frozen=True)
class Choice(Member):
    """One word from a list; ``default`` stands where nothing was said, and without one nothing stands there."""

    words: tuple[str, ...]
    default: str | None = None


@dataclass(frozen=True)
class Several(Member):
    """Any words from a list, each once; an empty list says that one looked and found none."""

    words: tuple[str, ...]


@dataclass(frozen=True)
class Flag(Member):
    """Yes, no, or not looked at."""


@dataclass(frozen=True)
class Text(Member):
    """Words of the farm's own; empty where nothing was said."""

    longest: int
    lines: bool = field(default=False, kw_only=True)


@dataclass(frozen=True)
class Day(Member):
    """A calendar date."""


@dataclass(frozen=True)
class Stage(Member):
    """A growth stage: the scale it is read on and its code there, never one without the other."""

    @property
    def columns(self) -> tuple[str, ...]:
        return (f"{self.name}_scale", f"{self.name}_code")


#: Burst is 05 on one scale, 4 on another and 07 on the third: a code without its scale says nothing.
#: BBCH: Lorenz et al. 1994; Eichhorn and Lorenz 1977; modified E-L: Coombe 1995.
STAGE_SCALES: Final = {
    "bbch": r"[0-9]{2}",
    "eichhorn_lorenz": r"0[1-9]|[1-3][0-9]|4[0-7]",
    "modified_eichhorn_lorenz": r"[1-9]|[1-3][0-9]|4[0-7]",
}
STAGE_SAYS: Final = {
    "bbch": "BBCH codes are two digits, 00 to 99",
    "eichhorn_lorenz": "Codes of Eichhorn and Lorenz (1977) are two digits, 01 to 47",
    "modified_eichhorn_lorenz": "Codes of the modified E-L system (1995) are 1 to 47",
}
