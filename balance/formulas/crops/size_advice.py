"""What a trend of vine size and the crop between say for next winter's formula: advice, which changes nothing."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Final

from balance.formulas.crops.size_trend import GAINING, NOT_ENOUGH_YEARS, STEADY, WEAKENING, SizeTrend
from balance.formulas.ranges import ABOVE, BELOW, WITHIN

FEWER_NODES: Final = "consider_fewer_nodes"
MORE_NODES: Final = "consider_more_nodes"
KEEP: Final = "keep_the_formula"
OTHER_CAUSE: Final = "look_for_another_cause"
KEEP_WEIGHING: Final = "keep_weighing"
ADVICE: Final = (FEWER_NODES, MORE_NODES, KEEP, OTHER_CAUSE, KEEP_WEIGHING)

#: Crops lie on no one side of their range in most seasons.
MIXED: Final = "mixed"
NOT_JUDGED: Final = "not_judged"
LOADS: Final = (BELOW, WITHIN, ABOVE, MIXED, NOT_JUDGED)

_CAUSES: Final = "winter injury, drought, disease, a short supply of nutrients, pests of the root, competition"
#: Below its range a vine gains size and above it loses size: read for Concord (see METHOD of size_trend); what follows
#: for the nodes is common practice, no source.
_SAID: Final[Mapping[tuple[str, str], tuple[str, str]]] = {
    (WEAKENING, ABOVE): (
        FEWER_NODES,
        "Heavier cropped than its range in most of these seasons, and losing size: the crop takes what the wood should "
        "have had. For next winter consider a formula that leaves fewer nodes, or thin the crop, until the size holds.",
    ),
    (WEAKENING, WITHIN): (
        OTHER_CAUSE,
        f"Losing size although the crop lay within its range: look for another cause ({_CAUSES}) before the formula. "
        "Leave no more nodes than now.",
    ),
    (WEAKENING, BELOW): (
        OTHER_CAUSE,
        "Losing size although lighter cropped than its range: the crop is not the cause. Look for another "
        f"({_CAUSES}). More nodes would not help a vine that grows less each year.",
    ),
    (WEAKENING, MIXED): (
        OTHER_CAUSE,
        f"Losing size while the crop lay now above and now below its range: even out the crop, and look for another "
        f"cause ({_CAUSES}). Leave no more nodes than now.",
    ),
    (WEAKENING, NOT_JUDGED): (
        OTHER_CAUSE,
        "Losing size, and no crop load was held against a range, so nothing says whether the crop is the cause. Record "
        f"the harvest and choose a range; meanwhile look for other causes ({_CAUSES}), and leave no more nodes than "
        "now.",
    ),
    (GAINING, BELOW): (
        MORE_NODES,
        "Lighter cropped than its range in most of these seasons, and gaining size: the vine could carry more. For "
        "next winter consider a formula that leaves more nodes, as far as living spur positions and the canopy have "
        "room.",
    ),
    (GAINING, WITHIN): (
        KEEP,
        "Gaining size with the crop within its range: keep the formula; heavier prunings give more nodes by "
        "themselves. See that the canopy has room for them.",
    ),
    (GAINING, ABOVE): (
        KEEP,
        "Gaining size although heavier cropped than its range: the vine bears it. Keep the formula, watch the soluble "
        "solids, and ask whether the range fits this block.",
    ),
    (GAINING, MIXED): (
        KEEP,
        "Gaining size while the crop swung about its range: keep the formula and even out the crop.",
    ),
    (GAINING, NOT_JUDGED): (
        KEEP,
        "Gaining size, and no crop load was held against a range: keep the formula, which gives more nodes for heavier "
        "prunings by itself, and record the harvest to learn whether the vine could carry more.",
    ),
    (STEADY, BELOW): (
        MORE_NODES,
        "The size holds and the vine was lighter cropped than its range in most of these seasons: it may carry a "
        "little more. Raise the nodes in small steps and see whether the size still holds.",
    ),
    (STEADY, WITHIN): (KEEP, "The size holds and the crop lay within its range: keep the formula."),
    (STEADY, ABOVE): (
        KEEP,
        "The size holds at a heavier crop than its range: the block's own record speaks for that load, provided the "
        "fruit ripens. Keep the formula and watch the soluble solids.",
    ),
    (STEADY, MIXED): (
        KEEP,
        "The size holds while the crop swung about its range: keep the formula and even out the crop.",
    ),
    (STEADY, NOT_JUDGED): (
        KEEP,
        "The size holds, and no crop load was held against a range: keep the formula, and record the harvest to learn "
        "whether the vine could carry more.",
    ),
}
_NOT_YET: Final = (
    "There is no trend yet, so the winters say nothing for or against the formula. Weigh the same vines every winter "
    "and record every harvest."
)


@dataclass(frozen=True)
class CropBetween:
    """The crop that stood between two winters.

    Attributes
    ----------
    season : int
        Calendar year of the harvest.
    crop_load : float or None
        Its yield over the prunings of the winter after it [1].
    verdict : str or None
        Of the crop load against its range; None where there is no figure or no range.
    size_before, size_after : float or None
        Mean prunings of the winters before and after the harvest [kg].
    """

    season: int
    crop_load: float | None
    verdict: str | None
    size_before: float | None
    size_after: float | None


@dataclass(frozen=True)
class SizeAdvice:
    """What to consider for next winter's formula; ``load`` is where the crop lay in most of the judged seasons."""

    code: str
    sentence: str
    load: str
    judged_seasons: int


def advise(trend: SizeTrend, crops: Sequence[CropBetween]) -> SizeAdvice:
    """Say what the trend of vine size means for next winter, read together with the crops between.

    Parameters
    ----------
    trend : SizeTrend
    crops : sequence of CropBetween
        Those before the first or after the last winter of the trend are left out: they stood beside none of it.

    Returns
    -------
    SizeAdvice
        Advice only; nothing is changed by it.

    Examples
    --------
    >>> from balance.formulas.crops.size_trend import size_trend
    >>> trend = size_trend([2024, 2025, 2026, 2027], [1.5, 1.3, 1.15, 1.0])
    >>> crops = [CropBetween(2025, 23.0, "above", 1.3, 1.15), CropBetween(2026, 25.0, "above", 1.15, 1.0)]
    >>> advice = advise(trend, crops)
    >>> advice.code, advice.load, advice.judged_seasons
    ('consider_fewer_nodes', 'above', 2)
    """
    verdicts = [crop.verdict for crop in beside(trend, crops) if crop.verdict is not None]
    load = _load(verdicts)
    if trend.judgement == NOT_ENOUGH_YEARS:
        return SizeAdvice(KEEP_WEIGHING, _NOT_YET, load, len(verdicts))
    code, sentence = _SAID[trend.judgement, load]
    return SizeAdvice(code, sentence, load, len(verdicts))


def beside(trend: SizeTrend, crops: Iterable[CropBetween]) -> list[CropBetween]:
    """Give the crops that stood between the first and the last winter of the trend, in order."""
    if not trend.seasons:
        return []
    first, last = trend.seasons[0], trend.seasons[-1]
    return sorted((crop for crop in crops if first <= crop.season < last), key=lambda crop: crop.season)


def _load(verdicts: Sequence[str]) -> str:
    """Give the side on which the crop lay in more than half of the judged seasons."""
    if not verdicts:
        return NOT_JUDGED
    for side in (BELOW, WITHIN, ABOVE):
        if 2 * verdicts.count(side) > len(verdicts):
            return side
    return MIXED
