"""How much of a farm's fruiting capacity its cordons have lost: blank, dead, or carried by arms that fill yet.

Of each cordon the newest inspection up to the season counts, none of before the plant was planted, found missing or
retrained, and none up to the day on which the arm that replaced it was found to bear.  Where a case is open for it, or
for its whole vine, its newest step up to the season says what it is:

* an arm is laid down or fills: it lacks what a young arm lacks; where only a part of the cordon is replaced, that much
  of what was blank;
* else the cordon waits: it lacks what the inspection says, and nothing is known where there is none.

A new arm that bears and was not inspected since lacks nothing.  What was not measured counts nowhere, and is counted.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from balance.cordons.capacity_sql import CORDONS_NOW
from balance.formulas.cordons.blank_shares import blank_shares
from balance.formulas.cordons.candidate_advice import MOST_NODES_VIGOROUS, MOST_NODES_WEAK
from balance.formulas.cordons.capacity import YEARS_TO_FULL, Standing, young_losses
from balance.packed import one_row, packed_column
from records.access import OpenFarm
from records.errors import NotValid
from records.models import Block

MOST_CORDONS: Final = 500_000
GROWN: Final = 0
WAITS: Final = 1
YOUNG: Final = 2
BEARS: Final = 3
#: 8 to 15 two-bud spurs on a cordon: North Carolina State Extension Gardener, figure 14-33 (READ); the middle of them
#: stands in where no positions were counted.
NODES_A_POSITION: Final = 2
USUAL_POSITIONS: Final = 11.5
#: The upper limits of what is printed for the first winter of an arm.
NODES_AT_FIRST: Final = {"weak": MOST_NODES_WEAK, "vigorous": MOST_NODES_VIGOROUS}


@dataclass(frozen=True, eq=False)
class CordonsNow:
    """Every cordon on record as it stands in a season; shares of it, NaN where not measured.

    Attributes
    ----------
    blocks : tuple of Block
        In the order of their names.
    block_codes : ndarray of int, shape (n,)
        Places in ``blocks``.
    states : ndarray of int, shape (n,)
        ``GROWN``, ``WAITS``, ``YOUNG`` or ``BEARS``.
    lost, blank, dead, by_young : ndarray of float, shape (n,)
        What it lacks, and of it what is blank, dead, or what a young arm lacks.
    seasons_young : ndarray of float, shape (n,)
        Seasons since the arm was laid down, at most one less than it takes to bear in full.
    first_shares : ndarray of float, shape (n,)
        What a young arm carries at first, of a grown cordon of its block.
    usual_first_share : float
        The same for an arm that is yet to be laid down.
    years_to_full : int
    """

    blocks: tuple[Block, ...]
    block_codes: NDArray[np.intp]
    states: NDArray[np.intp]
    lost: NDArray[np.float64]
    blank: NDArray[np.float64]
    dead: NDArray[np.float64]
    by_young: NDArray[np.float64]
    seasons_young: NDArray[np.float64]
    first_shares: NDArray[np.float64]
    usual_first_share: float
    years_to_full: int

    def __len__(self) -> int:
        return len(self.states)


def cordons_now(
    opened: OpenFarm, block: Block | None, season: int, vigour: str = "weak", years_to_full: int = YEARS_TO_FULL
) -> CordonsNow:
    """Read how the cordons of a farm, or of one block, stand in a season.

    Raises
    ------
    NotValid
        There are too many cordons to be answered at once.
    """
    told = {
        "farm": opened.farm.pk,
        "block": block.pk if block else None,
        "season": season,
        "zone": opened.farm.time_zone,
        "most": MOST_CORDONS + 1,
    }
    count, ids, codes, *columns, states, parts = one_row(CORDONS_NOW, told)
    if count > MOST_CORDONS:
        raise NotValid.at(
            "block", code="too_many_cordons", detail=f"More than {MOST_CORDONS:,} cordons; ask block by block."
        )
    found = Block.objects.for_farm(opened.farm).in_bulk(ids or [])
    blocks = [found[each] for each in ids or []]
    order = sorted(range(len(blocks)), key=lambda at: (blocks[at].name, str(blocks[at].pk)))
    places = np.empty(len(blocks), dtype=np.intp)
    places[order] = np.arange(len(blocks))
    at = packed_column(codes, ">i4", np.intp)
    read = _Read(
        blocks=tuple(blocks[each] for each in order),
        codes=places[at] if len(at) else at,
        states=packed_column(states, ">i4", np.intp),
        parts=packed_column(parts, ">i4", np.bool_),
        numbers=[packed_column(each, ">f8") for each in columns],
    )
    return _judged(read, NODES_AT_FIRST[vigour], years_to_full)


@dataclass(frozen=True, eq=False)
class _Read:
    """What the query gave, column by column."""

    blocks: tuple[Block, ...]
    codes: NDArray[np.intp]
    states: NDArray[np.intp]
    parts: NDArray[np.bool_]
    numbers: list[NDArray[np.float64]]


def _judged(read: _Read, nodes_at_first: int, years_to_full: int) -> CordonsNow:
    blocks, codes, states = read.blocks, read.codes, read.states
    living, blank, length, blank_length, dieback, laid_ago, nodes = read.numbers
    shares = blank_shares(living, blank, length, blank_length, dieback)
    whole = NODES_A_POSITION * _positions(living + blank, codes, len(blocks))
    at_first = np.where(np.isnan(nodes), nodes_at_first, np.minimum(nodes, MOST_NODES_VIGOROUS))
    first = np.minimum(at_first / whole[codes], 1.0) if len(codes) else at_first
    ago = np.clip(laid_ago, 0, years_to_full - 1)
    young = states == YOUNG
    lacks = (1 - first) * (years_to_full - ago) / years_to_full
    lacks = np.where(young, np.where(read.parts, lacks * shares.lost, lacks), np.nan)
    lost = np.where(young, lacks, np.where(states == BEARS, 0.0, shares.lost))
    usual = min(nodes_at_first / float(np.mean(whole[codes])), 1.0) if len(codes) else 0.0
    return CordonsNow(
        blocks=blocks,
        block_codes=codes,
        states=states,
        lost=lost,
        blank=np.where(young, 0.0, np.where(states == BEARS, 0.0, shares.blank)),
        dead=np.where(young, 0.0, np.where(states == BEARS, 0.0, shares.dead)),
        by_young=np.where(young, lacks, 0.0),
        seasons_young=np.where(young, ago, np.nan),
        first_shares=np.where(young, first, np.nan),
        usual_first_share=usual,
        years_to_full=years_to_full,
    )


def _positions(counted: NDArray[np.float64], codes: NDArray[np.intp], blocks: int) -> NDArray[np.float64]:
    """Give the positions of a grown cordon of each block: the median of what was counted, else what is usual."""
    usual = np.full(blocks, USUAL_POSITIONS)
    for code in range(blocks):
        here = counted[(codes == code) & (counted > 0)]
        if len(here):
            usual[code] = np.median(here)
    return usual


@dataclass(frozen=True)
class Assumed:
    """The start of a path, and what it takes for what was not measured.

    Attributes
    ----------
    standing : Standing or None
        None where no cordon is on record, or of none that is grown it is known what it lacks.
    whole_of_waiting : bool
        No cordon that waits was measured: each is taken to lack all of itself.
    """

    standing: Standing | None
    whole_of_waiting: bool


def standing_of(now: CordonsNow) -> Assumed:
    """Give the start of a path from how the cordons stand."""
    waits, young = now.states == WAITS, now.states == YOUNG
    grown = ~waits & ~young
    of_waiting, of_grown = (now.lost[each & ~np.isnan(now.lost)] for each in (waits, grown))
    unmeasured = bool(waits.any()) and not len(of_waiting)
    if not len(now) or (grown.any() and not len(of_grown)):
        return Assumed(None, unmeasured)
    ages = np.nan_to_num(now.seasons_young[young]).astype(np.int64)
    return Assumed(
        Standing(
            cordons=float(len(now)),
            waiting=float(np.count_nonzero(waits)),
            lost_of_waiting=float(of_waiting.mean()) if len(of_waiting) else 1.0,
            young=tuple(float(each) for each in np.bincount(ages, minlength=now.years_to_full)),
            lost_of_young=young_losses(now.usual_first_share, now.years_to_full),
            lost_of_grown=float(of_grown.mean()) if len(of_grown) else 0.0,
        ),
        unmeasured,
    )
