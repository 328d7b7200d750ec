"""What a report says, before it is a PDF, a page or a table: sections of sentences, figures, tables and charts.

Everything that a form shows stands in here and is rendered from here alone, so that all forms say the same.  Values
are in the units that were chosen for the report; ``digits`` is how many decimals are shown, the value is not rounded.
A figure without a value carries the reason why there is none; missing, zero and not measured are three things.
"""

from __future__ import annotations

import hashlib
from dataclasses import dataclass, replace
from typing import Any, Final

import orjson

SCHEMA: Final = "farm-season-report@1"
Cell = str | int | float | None

#: Where a block stands, from what needs a look first.
OVER: Final = "over"
UNDER: Final = "under"
IN_BALANCE: Final = "in_balance"
NOT_KNOWN: Final = "not_known"
STANDINGS: Final = (OVER, UNDER, IN_BALANCE, NOT_KNOWN)
#: How far the figures of a block can be trusted.
GOOD: Final = "good"
FAIR: Final = "fair"
LOW: Final = "low"
CONFIDENCES: Final = (GOOD, FAIR, LOW)


@dataclass(frozen=True)
class Figure:
    """One number with what it takes to defend it.

    ``low`` and ``high`` are the ends of the interval that ``interval`` names; ``range_low`` and ``range_high`` those of
    the range that somebody assigned, with its source; ``verdict`` is ``below``, ``within`` or ``above`` it, else empty.
    """

    code: str
    title: str
    value: float | int | None
    unit: str = ""
    digits: int = 2
    n: int | None = None
    low: float | None = None
    high: float | None = None
    interval: str = ""
    range_low: float | None = None
    range_high: float | None = None
    range_source: str = ""
    verdict: str = ""
    reason: str = ""


@dataclass(frozen=True)
class Column:
    """One column of a table; a number is set to the right and shown with so many decimals."""

    code: str
    title: str
    unit: str = ""
    number: bool = False
    digits: int = 0


@dataclass(frozen=True)
class Table:
    """One table; a cell that is None was not measured, and a note says what else there is to know."""

    code: str
    title: str
    columns: tuple[Column, ...]
    rows: tuple[tuple[Cell, ...], ...]
    note: str = ""


@dataclass(frozen=True)
class Chart:
    """One chart: a Vega-Lite specification of the subset that ``balance.reports.charts`` draws, and its description."""

    code: str
    title: str
    description: str
    spec: dict[str, Any]


@dataclass(frozen=True)
class Section:
    """One section of a block's page; ``reason`` says why it is empty, where it is."""

    code: str
    title: str
    sentences: tuple[str, ...] = ()
    figures: tuple[Figure, ...] = ()
    tables: tuple[Table, ...] = ()
    charts: tuple[Chart, ...] = ()
    reason: str = ""


@dataclass(frozen=True)
class Source:
    """One formula, range or method that the report rests on."""

    code: str
    version: int
    label: str
    source: str
    mark: str
    used_for: str


@dataclass(frozen=True)
class BlockLine:
    """One line of the summary: where a block stands, what changed, what to do next winter, and how sure that is."""

    block: str
    name: str
    cultivar: str
    standing: str
    why: str
    figures: tuple[Figure, ...]
    changed: tuple[str, ...]
    next_winter: tuple[str, ...]
    confidence: str
    confidence_why: str


@dataclass(frozen=True)
class BlockPage:
    """Everything about one block."""

    block: str
    name: str
    cultivar: str
    rootstock: str
    training: str
    vines: int
    sections: tuple[Section, ...]


@dataclass(frozen=True)
class FarmReport:
    """The season report of one farm."""

    farm: str
    farm_name: str
    region: str
    season: int
    units: str
    taken_at: str
    made_by: str
    summary: tuple[BlockLine, ...]
    blocks: tuple[BlockPage, ...]
    sources: tuple[Source, ...]
    cautions: tuple[str, ...]
    schema: str = SCHEMA
    check_code: str = ""

    def checked(self) -> FarmReport:
        """Give the report with its check code: the SHA-256 of everything else that it says."""
        return replace(self, check_code=check_code_of(as_json(replace(self, check_code=""))))


def as_json(report: FarmReport) -> dict[str, Any]:
    """Give the report as plain values, always in the same order."""
    plain: dict[str, Any] = orjson.loads(orjson.dumps(report))
    return plain


def check_code_of(plain: dict[str, Any]) -> str:
    """Give the SHA-256 of a document without its check code, its members in alphabetical order."""
    bare = {**plain, "check_code": ""}
    return hashlib.sha256(orjson.dumps(bare, option=orjson.OPT_SORT_KEYS)).hexdigest()
