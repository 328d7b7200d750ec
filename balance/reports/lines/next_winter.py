"""What to do next winter: about crop load and trend, counts off target, weak vines, cordons, and what lacks."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Final

from balance.formulas.counting import counted
from balance.formulas.crops.size_advice import KEEP_WEIGHING
from balance.formulas.ranges import ABOVE, BELOW
from balance.reports.facts import Facts
from balance.reports.lines.standing import counts_of
from balance.reports.sections.sampling import WANTED_ERROR, progress_for

_NOTHING: Final = "Weigh a sample of vines, count after the cut, and keep the formula."
#: What follows for the nodes is common practice, no source; that a vine above its range loses size is read for Concord
#: (see ``balance.formulas.crops.size_trend``).
_HEAVY: Final = (
    "The crop was heavier than its range: settle with your adviser whether next winter's formula leaves fewer nodes, "
    "or the crop is thinned."
)
_LIGHT: Final = (
    "The crop was lighter than its range: the vines may carry a little more. Settle it with your adviser, and raise "
    "the nodes in small steps only."
)


def advice_of(facts: Facts, gaps: Mapping[str, int]) -> tuple[str, ...]:
    """Give what to do, a sentence each; ``gaps`` is how many of each gap and doubt were found."""
    return tuple(_advice(facts, gaps)) or (_NOTHING,)


def _advice(facts: Facts, gaps: Mapping[str, int]) -> Iterator[str]:
    yield from _about_the_crop(facts)
    yield from _about_counts(facts)
    below = int((facts.targets.targets.status == "below_formula_range").sum())
    if below:
        yield f"Look for the cause at {counted(below, 'weak vine')} below the range of the formula, before cutting."
    works = facts.work.works
    if works:
        vines = len({each.case.vine_id for each in works})
        yield f"Cordons ask for {counted(len(works), 'task')} on {counted(vines, 'vine')}."
    yield from _about_data(facts, gaps)


def _about_the_crop(facts: Facts) -> Iterator[str]:
    advice, judged = facts.trend.advice, facts.judged
    verdict = judged.verdict if judged else None
    if advice.code != KEEP_WEIGHING:
        yield advice.sentence
    elif verdict == ABOVE:
        yield _HEAVY
    elif verdict == BELOW:
        yield _LIGHT


def _about_counts(facts: Facts) -> Iterator[str]:
    counts = counts_of(facts)
    if counts is not None and counts.too_many + counts.too_few:
        off = counts.too_many + counts.too_few
        yield (
            f"{off} of {counted(counts.judged, 'count')} off target ({counts.too_many} more, {counts.too_few} fewer): "
            "count after the cut, and go back where it is off."
        )


def _about_data(facts: Facts, gaps: Mapping[str, int]) -> Iterator[str]:
    progress = progress_for(facts)
    if facts.estimate.n == 0 and progress.needed:
        yield f"Weigh {counted(progress.needed, 'vine')} drawn at random: none was weighed."
    elif progress.more:
        yield f"Weigh {counted(progress.needed or 0, 'vine')} for a mean within {WANTED_ERROR:g} %."
    if gaps.get("no_harvest") or gaps.get("pickings_not_weighed"):
        yield "Weigh every picking of the harvest: without it there is no crop load."
    if gaps.get("without_formula"):
        yield "Choose a formula: none answers for this block."
    if gaps.get("no_bud_sample"):
        yield "Cut buds open before pruning: no sample of the last winter was read."
    doubts = sum(gaps.get(name, 0) for name in ("unit_doubts", "far_out_weights", "of_missing_vines"))
    if doubts:
        yield f"Look at {counted(doubts, 'doubtful record')} first; see the data gaps."
