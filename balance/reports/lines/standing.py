"""Where a block stands: by its crop load where a range is assigned to it, else by the counts against the targets."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Final

import numpy as np

from balance.formulas.counting import counted
from balance.formulas.ranges import ABOVE, BELOW, WITHIN
from balance.ranges import AssignedRange
from balance.reports.document import IN_BALANCE, NOT_KNOWN, OVER, UNDER
from balance.reports.facts import Facts, Judged
from balance.reports.figures import MEAN_NODES, RATIO
from balance.reports.words import number

_OF_VERDICT: Final = {ABOVE: OVER, BELOW: UNDER, WITHIN: IN_BALANCE}
_SAYS: Final = {ABOVE: "above", BELOW: "below", WITHIN: "within"}
#: A mean of whole counts that is off by less than a millionth of a node is on target.
_DECIMALS: Final = 6


@dataclass(frozen=True)
class Counts:
    """The counts of a block that can be judged, and how they lie [vines]; mean difference and tolerance [nodes]."""

    judged: int
    too_many: int
    too_few: int
    difference: float
    tolerance: float


def standing_of(facts: Facts) -> tuple[str, str]:
    """Give where a block stands, and why, in a sentence that says by what."""
    return standing_by(facts.season, facts.judged, facts.crop_range, lambda: counts_of(facts))


def standing_by(
    season: int, judged: Judged | None, assigned: AssignedRange | None, counted_vines: Callable[[], Counts | None]
) -> tuple[str, str]:
    """Give the same by its grounds: the newest crop load and its range, else the counts, which are asked for then."""
    if judged is not None and judged.verdict is not None:
        return _OF_VERDICT[judged.verdict], _by_crop_load(season, judged, assigned)
    without = _without_crop_load(season, judged)
    counts = counted_vines()
    if counts is None:
        return NOT_KNOWN, f"{without} and no vine has both a target and a count."
    return _by_counts(counts, without)


def counts_of(facts: Facts) -> Counts | None:
    """Give how the counts lie against the targets; None where there is none to judge."""
    found = facts.targets
    judged = found.outcome != ""
    if not judged.any():
        return None
    return Counts(
        judged=int(np.count_nonzero(judged)),
        too_many=int(np.count_nonzero(found.outcome == "too_many")),
        too_few=int(np.count_nonzero(found.outcome == "too_few")),
        difference=round(float(found.difference[judged].mean()), _DECIMALS),
        tolerance=round(float(found.tolerance[judged].mean()), _DECIMALS),
    )


def _by_crop_load(season: int, judged: Judged, assigned: AssignedRange | None) -> str:
    shown = assigned.shown() if assigned else {"low": None, "high": None}
    low, high = shown["low"], shown["high"]
    value = number(judged.load.quotient.value or 0.0, RATIO.digits)
    ends = " to ".join(f"{end:g}" for end in (low, high) if end is not None)
    open_end = " or more" if high is None else " or less" if low is None else ""
    newest = "" if judged.season == season else ", the newest that can be told"
    return (
        f"By crop load: {value} in the harvest of {judged.season}{newest}, {_SAYS[judged.verdict or WITHIN]} its range "
        f"of {ends}{open_end}."
    )


def _without_crop_load(season: int, judged: Judged | None) -> str:
    if judged is None:
        return f"No crop load of {season} or of the season before can be told,"
    return "No range is assigned to the crop load,"


def _by_counts(counts: Counts, without: str) -> tuple[str, str]:
    off = abs(counts.difference)
    if off <= counts.tolerance:
        standing, says = IN_BALANCE, "on target, as far as the scale can tell"
    else:
        standing = OVER if counts.difference > 0 else UNDER
        says = f"{number(off, MEAN_NODES.digits)} nodes {'above' if counts.difference > 0 else 'below'} the target"
    within = counts.judged - counts.too_many - counts.too_few
    return standing, (
        f"{without} so it goes by counts against targets: {counted(counts.judged, 'count')} are on average {says} "
        f"({within} on target, {counts.too_many} more, {counts.too_few} fewer)."
    )
