"""The way from a bud sample to an adjusted target, in sentences and sums that can be checked by hand."""

from __future__ import annotations

from typing import Final

from balance.formulas.buds.adjusted_targets import AdjustedTarget
from balance.formulas.buds.bud_adjustments import (
    ADD_INJURY_PERCENT,
    ADD_PERCENT,
    AMBIGUOUS,
    BEYOND,
    DIVIDE_BY_SURVIVAL,
    NOT_PRINTED,
    OK,
    UNDEFINED,
    Adjustment,
    Judged,
)
from balance.formulas.buds.bud_injury import CropPotential
from balance.formulas.counting import counted
from balance.formulas.methods import Working
from balance.formulas.proportions import Share
from balance.formulas.targets.explanation import plain

#: Buds on a vine that nobody pruned: 200 to 1000 (Univ. of Maryland Extension, READ), above 400 (NC State, READ).
UNPRUNED_BUDS: Final = 200
MORE_THAN_A_VINE_HAS: Final = (
    "The number comes near what a vine carries that nobody pruned: 200 to 1000 buds (Univ. of Maryland Extension). "
    "Take it as 'cut next to nothing', and count again after budbreak."
)


def injury_steps(injury: Share) -> list[Working]:
    """Give the steps from the counts to the injury and its interval.

    Parameters
    ----------
    injury : Share
        Dead primary buds.

    Returns
    -------
    list of Working

    Examples
    --------
    >>> from balance.formulas.buds.bud_injury import bud_injury
    >>> for step in injury_steps(bud_injury(100, 65)):
    ...     print(step.sentence)
    Of 100 nodes the primary bud lives at 65 and is dead at 35.
    That is an injury of 35 %.
    With 95 % confidence it lies between 25.73 and 45.18 %: as far as 10.18 points away.
    """
    low, high = plain(injury.low_percent, 2), plain(injury.high_percent, 2)
    margin = plain(injury.margin_percent, 2)
    alive = injury.of - injury.count
    return [
        Working(
            "primary buds dead",
            f"Of {counted(injury.of, 'node')} the primary bud lives at {alive} and is dead at {injury.count}.",
            f"{injury.of} − {alive} = {injury.count}",
            injury.count,
            "1",
        ),
        Working(
            "injury",
            f"That is an injury of {plain(injury.percent, 2)} %.",
            f"100 × {injury.count} ÷ {injury.of} = {plain(injury.percent)}",
            injury.percent,
            "%",
        ),
        Working(
            "interval",
            f"With {100 * injury.confidence:g} % confidence it lies between {low} and {high} %: "
            f"as far as {margin} points away.",
            f"Clopper and Pearson for {injury.count} of {injury.of}: {low} to {high}",
            None,
            "%",
        ),
    ]


def adjustment_steps(adjusted: AdjustedTarget) -> list[Working]:
    """Give the steps from a normal target to the adjusted one; none where there is no number.

    Parameters
    ----------
    adjusted : AdjustedTarget

    Returns
    -------
    list of Working

    Examples
    --------
    >>> from balance.formulas.buds.adjusted_targets import adjust_target
    >>> from balance.formulas.buds.bud_adjustments import Band
    >>> from balance.formulas.buds.bud_injury import bud_injury
    >>> band = Band("x", 1, "X", 20, True, 80, True, ADD_INJURY_PERCENT, None, "a page", "READ", "", None, "")
    >>> for step in adjustment_steps(adjust_target(Adjustment((band,)), bud_injury(100, 65), 45)):
    ...     print(step.sentence, step.calculation, sep="  ")
    From 20 to 80 % the source leaves the same percentage more: 35 %.  45 × (1 + 35 ÷ 100) = 60.75
    Rounded to the nearest whole node, a half towards fewer: 61.  60.75 → 61
    """
    if adjusted.unrounded is None or adjusted.nodes is None:
        return []
    sentence, calculation = _rule(adjusted)
    result = f"{calculation} = {plain(adjusted.unrounded, 6)}"
    steps = [Working("adjusted target", sentence, result, adjusted.unrounded, "1")]
    if adjusted.unrounded != adjusted.nodes:
        rounded = f"Rounded to the nearest whole node, a half towards fewer: {adjusted.nodes}."
        as_sum = f"{plain(adjusted.unrounded, 6)} → {adjusted.nodes}"
        steps.append(Working("rounding", rounded, as_sum, adjusted.nodes, "1"))
    return steps


def _rule(adjusted: AdjustedTarget) -> tuple[str, str]:
    """Give the rule of the band as a sentence and as the left side of a sum."""
    band = adjusted.judged.bands[0]
    where = f"From {band.from_percent:g} to {band.to_percent:g} %"
    normal, injury = plain(adjusted.normal, 6), plain(adjusted.injury.percent)
    said = {
        ADD_INJURY_PERCENT: (
            f"{where} the source leaves the same percentage more: {injury} %.",
            f"{normal} × (1 + {injury} ÷ 100)",
        ),
        ADD_PERCENT: (
            f"{where} the source leaves {band.value or 0:g} % more.",
            f"{normal} × (1 + {band.value or 0:g} ÷ 100)",
        ),
        DIVIDE_BY_SURVIVAL: (
            f"As many nodes as leave the normal target alive: {plain(100 - adjusted.injury.percent)} % survive.",
            f"{normal} ÷ (1 − {injury} ÷ 100)",
        ),
    }
    return said.get(band.rule, (f"{where} the source changes nothing.", normal))


def why_no_number(adjustment: Adjustment, judged: Judged, injury_percent: float) -> str | None:
    """Say why an adjustment has no number for an injury, and what the source does say; None where it has one.

    Parameters
    ----------
    adjustment : Adjustment
    judged : Judged
        What :func:`balance.formulas.buds.bud_adjustments.judge_injury` made of it.
    injury_percent : float
        Primary buds dead [%].

    Returns
    -------
    str or None

    Examples
    --------
    >>> from balance.formulas.buds.bud_adjustments import NO_CHANGE, Band, judge_injury
    >>> band = Band("x", 1, "X", 0, True, 15, True, NO_CHANGE, None, "a page", "READ", "", None, "")
    >>> print(why_no_number(Adjustment((band,)), judge_injury(Adjustment((band,)), 60), 60))
    X stops at 15 %, and the injury is 60 %: no number. Settle how to prune with your local extension or adviser.
    """
    if judged.status == OK:
        return None
    name, injury = adjustment.method.label.partition(":")[0], f"{plain(injury_percent, 2)} %"
    printed = " and ".join(str(band) for band in judged.bands)
    note = f" {judged.bands[0].note}." if judged.bands and judged.bands[0].note else ""
    upper = max((band.to_percent for band in adjustment.bands if band.factor(band.from_percent) is not None), default=0)
    settle = "Settle how to prune with your local extension or adviser."
    return {
        UNDEFINED: f"{name} says nothing of {injury}: its bands leave a gap there, so there is no number. {settle}",
        AMBIGUOUS: f"{name} prints bands that overlap, and {injury} lies in {printed}. The source does not say which, "
        f"and none is chosen for you: no number. {settle}",
        NOT_PRINTED: f"{name} leaves more than the normal target at {injury}, without a number.{note} {settle}",
        BEYOND: f"{name} stops at {upper:g} %, and the injury is {injury}: no number.{note} {settle}",
    }[judged.status]


def potential_steps(
    nodes_examined: int, primaries_alive: int, fruitfulness: float, found: CropPotential
) -> list[Working]:
    """Give the steps to a crop potential.

    Parameters
    ----------
    nodes_examined, primaries_alive : int
    fruitfulness : float
        What a secondary bears [% of a primary].
    found : CropPotential

    Returns
    -------
    list of Working

    Examples
    --------
    >>> from balance.formulas.buds.bud_injury import crop_potential
    >>> for step in potential_steps(100, 60, 35, crop_potential(100, 60, 100, 35)):
    ...     print(step.sentence, step.calculation, sep="  ")
    At 40 nodes a living secondary stands in for a dead primary.  40
    Each bears 35 % of a primary.  (60 + 40 × 0.35) ÷ 100 = 74 %
    """
    least, most = found.rescued_low, found.rescued_high
    many = f"{least}" if least == most else f"{least} to {most}"
    settled = "" if least == most else " The two counts leave open how many; count them together to know."
    share = plain(fruitfulness / 100)

    def as_sum(rescued: int, percent: float) -> str:
        return f"({primaries_alive} + {rescued} × {share}) ÷ {nodes_examined} = {plain(percent, 2)} %"

    sums = as_sum(least, found.low_percent)
    if least != most:
        sums += f"; {as_sum(most, found.high_percent)}"
    stands_in = f"At {counted(many, 'node')} a living secondary stands in for a dead primary.{settled}"
    bears = f"Each bears {plain(fruitfulness)} % of a primary."
    return [
        Working("secondaries that stand in", stands_in, many, float(least) if least == most else None, "1"),
        Working("crop potential", bears, sums, found.percent, "%"),
    ]
