"""How far a block's figures can be trusted: from the margin of error of its mean, and down for what lacks."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Final

from balance.formulas.counting import counted
from balance.formulas.samples.sample_size import FEWEST_FOR_A_SPREAD
from balance.reports.document import FAIR, GOOD, LOW
from balance.reports.facts import Facts

#: Half the interval of the mean up to which it is good, and fair [% of the mean]: common practice, no source.
GOOD_ERROR: Final = 10.0
FAIR_ERROR: Final = 20.0
_ORDER: Final = (LOW, FAIR, GOOD)


def confidence_of(facts: Facts, gaps: Mapping[str, int]) -> tuple[str, str]:
    """Give how sure the line is, and why."""
    told = facts.estimate
    if not told.n:
        return LOW, "No vine was weighed in the winter before this harvest."
    vines = f"{told.n} of {counted(told.population, 'vine')} weighed"
    if told.error is None:
        return LOW, f"{vines}: too few for an interval."
    error = round(told.error, 6)
    level = 2 if error <= GOOD_ERROR else 1 if error <= FAIR_ERROR else 0
    lacks = list(_lacks(facts, gaps))
    why = f"{vines}, mean good to {told.error:.1f} %"
    if lacks:
        why = f"{why}; {', '.join(lacks)}"
    return _ORDER[max(0, level - len(lacks))], f"{why}."


def _lacks(facts: Facts, gaps: Mapping[str, int]) -> Iterator[str]:
    """Give what takes a step off, each."""
    told = facts.estimate
    if told.n < FEWEST_FOR_A_SPREAD and 2 * told.n < told.population:
        yield f"fewer than {FEWEST_FOR_A_SPREAD} weights say little of the spread"
    if facts.judged is None:
        yield "no crop load"
    doubts = sum(gaps.get(name, 0) for name in ("unit_doubts", "far_out_weights", "of_missing_vines"))
    if doubts:
        yield f"{counted(doubts, 'doubtful record')}"
    if _reaches_across(facts):
        yield "the interval of the crop load reaches across a limit of its range"


def _reaches_across(facts: Facts) -> bool:
    judged, assigned = facts.judged, facts.crop_range
    if judged is None or assigned is None or judged.load.low is None or judged.load.high is None:
        return False
    low, high, limits = judged.load.low, judged.load.high, assigned.shown()
    return any(limit is not None and low < limit < high for limit in (limits["low"], limits["high"]))
