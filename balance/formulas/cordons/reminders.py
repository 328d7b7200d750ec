"""What a replacement asks for in a season: look for a candidate, lay it down, unwrap it, look at its ties, and more."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Final

from balance.formulas.cordons.candidate_advice import NODES, OREGON
from balance.formulas.cordons.replacement_steps import (
    BEARING,
    CANDIDATE_CHOSEN,
    FAILED,
    FILLING,
    LAID_DOWN,
    NOTICED,
)
from balance.formulas.methods import NO_SOURCE

SUMMER: Final = "summer"
WINTER: Final = "winter"
PARTS_OF_YEAR: Final = (SUMMER, WINTER)

DECIDE: Final = "decide"
LOOK_FOR_CANDIDATE: Final = "look_for_candidate"
LAY_DOWN: Final = "lay_down"
UNWRAP: Final = "unwrap"
CHECK_TIES: Final = "check_ties"
FEWER_NODES: Final = "fewer_nodes"
REMOVE_OLD_ARM: Final = "remove_old_arm"
#: In the order in which they are walked to on one vine.
TASKS: Final = (DECIDE, LOOK_FOR_CANDIDATE, LAY_DOWN, UNWRAP, CHECK_TIES, FEWER_NODES, REMOVE_OLD_ARM)


@dataclass(frozen=True)
class Saying:
    """What a task is called, what is to be done, and who says so."""

    name: str
    sentence: str
    source: str


SAYS: Final[dict[str, Saying]] = {
    DECIDE: Saying(
        "Decide",
        "The farm's own thresholds propose to replace this cordon: look at it, and open a case or leave it.",
        "The farm's own thresholds; no source prints a share of blank cordon at which to act",
    ),
    LOOK_FOR_CANDIDATE: Saying(
        "Look for a candidate",
        "Look for a shoot from the head or the trunk, above the graft union, and leave it to grow.",
        f"{OREGON}: plan a year ahead by keeping a shoot at the head or a sucker",
    ),
    LAY_DOWN: Saying(
        "Lay down",
        "Lay the chosen cane down, at most once round the wire, and keep a renewal spur at the head.",
        OREGON,
    ),
    UNWRAP: Saying("Unwrap", "Unwrap the arm that was laid down a winter ago: left wrapped, it girdles.", OREGON),
    CHECK_TIES: Saying(
        "Check ties",
        "Look whether a tie or the wire cuts into the young arm, and loosen it.",
        f"{OREGON}: an arm left wrapped girdles; looking at ties besides: {NO_SOURCE}",
    ),
    FEWER_NODES: Saying("Fewer nodes", "Keep fewer nodes on the young arm than on a grown one.", NODES),
    REMOVE_OLD_ARM: Saying(
        "Remove old arm",
        "The new arm bears: take the old one off, outside wet weather, with as small a wound as may be.",
        f"When: {NO_SOURCE}; small wounds: Wine Australia, Univ. California Cooperative Extension (READ)",
    ),
}


@dataclass(frozen=True)
class Task:
    """One thing to do about one case.

    Attributes
    ----------
    code : str
        One of ``TASKS``.
    due_season : int
        The first season in whose part of the year it was to be done; of what is done anew each season, the one asked.
    overdue : int
        Seasons gone by since.
    """

    code: str
    due_season: int
    overdue: int


def tasks_of(
    step: str, step_season: int, laid_down_season: int | None, season: int, part_of_year: str, *, step_in: str
) -> list[Task]:
    """Give what a case asks for in one part of one season.

    Parameters
    ----------
    step : str
        The newest step; see ``replacement_steps``.
    step_season : int
        The harvest year that the day of the step belongs to.
    laid_down_season : int or None
        The season in which the arm that stands now was laid down.
    season : int
        The harvest year asked about; its winter comes before its summer.
    part_of_year : {"winter", "summer"}
    step_in : {"winter", "summer"}
        The part of the year in which the step was taken.

    Returns
    -------
    list of Task
        Empty where nothing is due yet.

    References
    ----------
    Oregon State Univ., "How to renew a grapevine cordon" (READ): a candidate is kept a year ahead, laid down in the
    dormant season, and unwrapped the next winter. North Carolina Cooperative Extension (READ): fewer nodes on a young
    arm. The timing of the rest: common practice, no source. Nobody records that ties were looked at or nodes kept
    back, so these two are asked for each season and never overdue.

    Examples
    --------
    >>> tasks_of("candidate_chosen", 2024, None, 2025, "winter", step_in="summer")
    [Task(code='lay_down', due_season=2025, overdue=0)]
    >>> [task.code for task in tasks_of("laid_down", 2025, 2025, 2026, "winter", step_in="winter")]
    ['unwrap', 'check_ties', 'fewer_nodes']
    """
    # A winter comes before the summer of its season: what was done in a summer waits for the next season's winter.
    next_winter = step_season if step_in == WINTER else step_season + 1
    asked = _in_summer(step, step_season) if part_of_year == SUMMER else _in_winter(step, next_winter, laid_down_season)
    return [
        Task(code, season, 0) if code in _ANEW_EACH_SEASON else Task(code, due, season - due)
        for code, due in asked
        if due <= season
    ]


#: These are never done for good while the arm is young, and nobody records them, so none is ever overdue.
_ANEW_EACH_SEASON: Final = {CHECK_TIES, FEWER_NODES}


def _in_summer(step: str, step_season: int) -> Iterator[tuple[str, int]]:
    if step in {NOTICED, FAILED}:
        yield LOOK_FOR_CANDIDATE, step_season
    if step in {LAID_DOWN, FILLING}:
        yield CHECK_TIES, step_season


def _in_winter(step: str, next_winter: int, laid_down_season: int | None) -> Iterator[tuple[str, int]]:
    if step == CANDIDATE_CHOSEN:
        yield LAY_DOWN, next_winter
    if step in {LAID_DOWN, FILLING} and laid_down_season is not None:
        if step == LAID_DOWN:
            yield UNWRAP, laid_down_season + 1
        yield CHECK_TIES, laid_down_season + 1
        yield FEWER_NODES, laid_down_season + 1
    if step == BEARING:
        yield REMOVE_OLD_ARM, next_winter
