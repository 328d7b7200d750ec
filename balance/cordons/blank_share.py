"""How much of the cordons of a block is blank, season by season, summed up in the database.

The newest inspection of each cordon in a season counts, and withdrawn ones never.  A cordon that did not say both
sides of a share is no part of it, neither as blank nor as living.
"""

from __future__ import annotations

import uuid
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any, Final

from django.db import connection

from balance.formulas.cordons.blank_share import blank_share, change_of_share
from records.access import OpenFarm
from records.errors import NotValid

#: More inspections than these are asked about block by block, or for fewer seasons.
MOST_INSPECTIONS: Final = 300_000
#: Blocks times seasons; more are asked for apart.
MOST_ROWS: Final = 5_000

_ASKED: Final = """
    farm_id = %(farm)s AND block_id = ANY(%(blocks)s) AND season BETWEEN %(first)s - 1 AND %(last)s
    AND withdrawn_at IS NULL
"""
_HOW_MANY: Final = f"""
    SELECT count(*) FROM (SELECT FROM cordon_inspection WHERE {_ASKED} LIMIT %(most)s) AS asked
"""  # noqa: S608 - joined from constants
#: One side of a share that was said in this season, and in this and the season before.
_SUMS: Final = """
    count(*) FILTER (WHERE {whole} IS NOT NULL),
    coalesce(sum({blank}) FILTER (WHERE {whole} IS NOT NULL), 0)::float8, coalesce(sum({whole}), 0)::float8,
    count(*) FILTER (WHERE {whole} IS NOT NULL AND {whole}_before IS NOT NULL),
    coalesce(sum({blank}) FILTER (WHERE {whole} IS NOT NULL AND {whole}_before IS NOT NULL), 0)::float8,
    coalesce(sum({whole}) FILTER (WHERE {whole}_before IS NOT NULL), 0)::float8,
    coalesce(sum({blank}_before) FILTER (WHERE {whole} IS NOT NULL AND {whole}_before IS NOT NULL), 0)::float8,
    coalesce(sum({whole}_before) FILTER (WHERE {whole} IS NOT NULL), 0)::float8
"""
_BEFORE: Final = "CASE WHEN lag(season) OVER years = season - 1 THEN lag({0}) OVER years END AS {0}_before"
_BOTH_BEFORE: Final = ", ".join(
    _BEFORE.format(name) for name in ("blank_positions", "positions", "blank_length", "length")
)
_SHARES: Final = f"""
    WITH inspected AS MATERIALIZED (  -- first, so that the block is walked and not the farm's vines
        SELECT id, block_id, vine_id, cordon, season, observed_at, blank_positions, living_positions, blank_length_m,
               cordon_length_m
        FROM cordon_inspection WHERE {_ASKED}
    ),
    seen AS (
        SELECT DISTINCT ON (vine_id, cordon, season) block_id, vine_id, cordon, season,
               blank_positions, blank_positions + living_positions AS positions,
               blank_length_m AS blank_length, CASE WHEN blank_length_m IS NOT NULL THEN cordon_length_m END AS length
        FROM inspected
        ORDER BY vine_id, cordon, season, observed_at DESC NULLS LAST, id DESC
    ),
    beside AS (
        SELECT *, {_BOTH_BEFORE}
        FROM seen WINDOW years AS (PARTITION BY vine_id, cordon ORDER BY season)
    )
    SELECT block_id, season, count(*), {_SUMS.format(blank="blank_positions", whole="positions")},
           {_SUMS.format(blank="blank_length", whole="length")}
    FROM beside GROUP BY block_id, season ORDER BY block_id, season LIMIT %(most_rows)s
"""  # noqa: S608


@dataclass(frozen=True)
class Sums:
    """One side of the cordons of a block in a season: positions, or lengths [m].

    Attributes
    ----------
    cordons : int
        Cordons that say both what is blank and what there is.
    blank, whole : float
        Sums over those.
    cordons_in_both : int
        Those of them that say it in the season before, too.
    blank_in_both, whole_in_both, blank_before, whole_before : float
        Sums over those, in this season and in the one before.
    """

    cordons: int
    blank: float
    whole: float
    cordons_in_both: int
    blank_in_both: float
    whole_in_both: float
    blank_before: float
    whole_before: float

    @property
    def share(self) -> float | None:
        """The blank share [%]."""
        return blank_share(self.blank, self.whole)

    @property
    def change_in_both(self) -> float | None:
        """Percentage points on the cordons that say it in both seasons."""
        now = blank_share(self.blank_in_both, self.whole_in_both)
        return change_of_share(now, blank_share(self.blank_before, self.whole_before))


@dataclass(frozen=True)
class BlankCordon:
    """The blank cordon of one block in one season, with its shares in the season before where they are known."""

    block_id: uuid.UUID
    season: int
    inspected: int
    positions: Sums
    length: Sums
    positions_before: float | None = None
    length_before: float | None = None


def blank_cordon_of(opened: OpenFarm, blocks: Iterable[uuid.UUID], first: int, last: int) -> list[BlankCordon]:
    """Give the blank cordon of each block in each season from the first to the last in which one was inspected.

    Raises
    ------
    NotValid
        There are too many inspections, or blocks and seasons, to be answered at once.
    """
    arguments = {
        "farm": opened.farm.pk,
        "blocks": list(blocks),
        "first": first,
        "last": last,
        "most": MOST_INSPECTIONS + 1,
        "most_rows": MOST_ROWS + 1,
    }
    if _rows(_HOW_MANY, arguments)[0][0] > MOST_INSPECTIONS:
        raise _too_many(f"More than {MOST_INSPECTIONS:,} inspections")
    rows = _rows(_SHARES, arguments)
    if len(rows) > MOST_ROWS:
        raise _too_many(f"More than {MOST_ROWS:,} blocks and seasons")
    found = {(row[0], row[1]): (row[2], Sums(*row[3:11]), Sums(*row[11:19])) for row in rows}
    return [
        BlankCordon(block, season, inspected, positions, length, *_shares_in(found, block, season - 1))
        for (block, season), (inspected, positions, length) in found.items()
        if season >= first
    ]


def _shares_in(
    found: dict[tuple[uuid.UUID, int], tuple[int, Sums, Sums]], block: uuid.UUID, season: int
) -> tuple[float | None, float | None]:
    if (block, season) not in found:
        return None, None
    _, positions, length = found[block, season]
    return positions.share, length.share


def _rows(sql: str, arguments: dict[str, Any]) -> list[tuple[Any, ...]]:
    with connection.cursor() as cursor:
        cursor.execute(sql, arguments)
        return list(cursor.fetchall())


def _too_many(what: str) -> NotValid:
    return NotValid.at(
        "block", code="too_many_records", detail=f"{what} would have to be read. Ask block by block, or fewer seasons."
    )
