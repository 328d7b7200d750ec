"""Whether the samples of a block tell of one injury, and whether so many nodes say enough of it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from balance.buds.pooled_samples import PooledSamples
from balance.formulas.counting import counted
from balance.formulas.proportions import Share, chance_of_unlikeness, needed_for_margin

#: Samples that chance makes as unlike as this, or more, once in twenty are called unlike: common practice, no source.
UNLIKE: Final = 0.05
#: Cornell NNY 2014: 50 to 100 buds; Finger Lakes Grape Program: at least 50, 100 are better (both READ).
FEWEST_ASKED: Final = 50
#: Wanted unless somebody says otherwise: common practice, no source.
USUAL_MARGIN: Final = 10.0


@dataclass(frozen=True)
class Likeness:
    """How likely samples of one injury differ as much; None where there are no two to compare."""

    chance: float | None
    unlike: bool | None
    sentence: str


def likeness_of(pooled: PooledSamples) -> Likeness:
    """Say whether the samples listed differ by more than chance."""
    examined = [row["nodes_examined"] for row in pooled.listed]
    dead = [row["nodes_examined"] - row["primary_alive"] for row in pooled.listed]
    chance = chance_of_unlikeness(dead, examined)
    if chance is None:
        return Likeness(None, None, "There are no two samples to compare.")
    unlike = chance < UNLIKE
    sentence = (
        f"The samples differ by more than chance (once in {1 / max(chance, 1e-9):,.0f}): the pooled injury is true of "
        "no part of the block. Adjust each part by its own sample."
        if unlike
        else "The samples differ by no more than chance."
    )
    return Likeness(round(chance, 9), unlike, sentence)


def nodes_needed(injury: Share | None, wanted: float) -> int | None:
    """Give how many nodes a wanted margin takes at this injury; None where there is no sample."""
    return needed_for_margin(injury.percent, wanted, injury.confidence) if injury else None


def sentence_of_sampling(injury: Share | None, wanted: float, needed: int | None) -> str:
    """Say whether so many nodes are enough for a margin."""
    if injury is None or needed is None:
        return "Sources ask for 50 to 100 buds from each block, and from each part of it that lies differently."
    sample = counted(injury.of, "node is", "nodes are")
    if injury.margin_percent <= wanted:
        return f"{sample} enough for ±{wanted:g} points: the sample is good to {injury.margin_percent:.1f}."
    return (
        f"{sample} good to {injury.margin_percent:.1f} points only; for ±{wanted:g} points at this injury "
        f"examine {needed} in all."
    )
