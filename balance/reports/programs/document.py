"""What a season report of a program says: the same sections as a farm's, and what was released in canonical units."""

from __future__ import annotations

from dataclasses import asdict, dataclass, replace
from typing import Any, Final

import orjson

from balance.reports.document import Section, Source, check_code_of

SCHEMA: Final = "program-season-report@1"


@dataclass(frozen=True)
class ReleasedCell:
    """One value of many farms that went through the privacy rules, rounded, in canonical units.

    Attributes
    ----------
    measure, dimension, label : str
        What it is, by what it is grouped, and which group; the dimension ``all`` has one group.
    farms : str
        How many farms, as a band; empty where the cell is not shown.
    value : float or None
        None where the cell is not shown.
    """

    measure: str
    dimension: str
    label: str
    farms: str = ""
    value: float | None = None

    @property
    def shown(self) -> bool:
        return self.value is not None


@dataclass(frozen=True)
class ReleasedWinter:
    """Replacements expected in one winter ahead [cordons]."""

    season: int
    value: float
    low: float
    high: float


@dataclass(frozen=True)
class ReleasedOutlook:
    """What is expected of the cordons of all growers together.

    Attributes
    ----------
    standing, followed : int
        Cordons that stand, and winters that cordons were followed over, which it rests on, to the nearest ten.
    clock : str
        How their years are counted.
    winters : tuple of ReleasedWinter
    """

    standing: int
    followed: int
    clock: str
    winters: tuple[ReleasedWinter, ...]


@dataclass(frozen=True)
class Released:
    """All that left the farms for one season of one program; whatever is shown is computed from this alone.

    Attributes
    ----------
    farms : str
        How many farms were counted, as a band; empty where there are fewer than the least.
    blocks, vines : int or None
        To the nearest ten.
    cells : tuple of ReleasedCell
    outlook : ReleasedOutlook or None
        None where it is not shown.
    """

    farms: str = ""
    blocks: int | None = None
    vines: int | None = None
    cells: tuple[ReleasedCell, ...] = ()
    outlook: ReleasedOutlook | None = None

    @property
    def shows_anything(self) -> bool:
        return bool(self.farms)

    @classmethod
    def of(cls, plain: dict[str, Any]) -> Released:
        """Read it back from a document."""
        cells = tuple(ReleasedCell(**each) for each in plain["cells"])
        outlook = plain["outlook"] and ReleasedOutlook(
            **{**plain["outlook"], "winters": tuple(ReleasedWinter(**each) for each in plain["outlook"]["winters"])}
        )
        return cls(**{**plain, "cells": cells, "outlook": outlook})


@dataclass(frozen=True)
class ProgramDocument:
    """The season report of one program."""

    program: str
    program_name: str
    region: str
    season: int
    units: str
    taken_at: str
    made_by: str
    sections: tuple[Section, ...]
    sources: tuple[Source, ...]
    cautions: tuple[str, ...]
    released: Released
    schema: str = SCHEMA
    check_code: str = ""

    def checked(self) -> ProgramDocument:
        """Give the report with its check code: the SHA-256 of everything else that it says."""
        return replace(self, check_code=check_code_of(as_json(replace(self, check_code=""))))


def as_json(report: ProgramDocument) -> dict[str, Any]:
    """Give the report as plain values, always in the same order."""
    plain: dict[str, Any] = orjson.loads(orjson.dumps(asdict(report)))
    return plain
