"""The steps from the means of groups to shrunken means, as sentences and sums."""

from __future__ import annotations

import math

from balance.formulas.methods import Working
from balance.formulas.samples.shrinkage import Shrinkage
from balance.formulas.targets.explanation import plain


def shrinkage_steps(told: Shrinkage, unit: str, scale: float = 1.0) -> list[Working]:
    """Give the steps; a level that was not used has none.

    Parameters
    ----------
    told : Shrinkage
    unit : str
        UCUM code of the figures shown.
    scale : float
        One unit of the groups in the unit shown.

    Returns
    -------
    list of Working

    Examples
    --------
    >>> from balance.formulas.samples.shrinkage import Group, shrink
    >>> for step in shrinkage_steps(shrink([Group(4, 1.0, 0.4), Group(9, 1.2, 0.4), Group(9, 1.9, 0.4)]), "kg"):
    ...     print(step.sentence)
    Inside a block single vines vary by 0.4 kg (standard deviation, pooled over the blocks).
    Beyond what chance explains, the true means of blocks differ by 0.4546 kg (standard deviation).
    """
    steps = []
    if told.within is not None:
        steps.append(_within(told.within, unit, scale))
    if told.between_groups is not None:
        steps.append(_between("blocks", told.between_groups, unit, scale))
    if told.between_farms is not None:
        steps.append(_between("farms", told.between_farms, unit, scale))
    return steps


def _within(variance: float, unit: str, scale: float) -> Working:
    deviation = math.sqrt(variance) * scale
    return Working(
        "spread inside a block",
        f"Inside a block single vines vary by {plain(deviation)} {unit} (standard deviation, pooled over the blocks).",
        f"√(Σ(n − 1)s² ÷ Σ(n − 1)) = {plain(deviation)}",
        deviation,
        unit,
    )


def _between(what: str, variance: float, unit: str, scale: float) -> Working:
    deviation = math.sqrt(variance) * scale
    said = f"Beyond what chance explains, the true means of {what} differ by {plain(deviation)} {unit}"
    return Working(
        f"difference between {what}",
        f"{said} (standard deviation)."
        if variance
        else f"The means of {what} differ by no more than chance explains, so their own differences weigh nothing.",
        f"√max(0, what the means vary by − what chance explains) = {plain(deviation)}",
        deviation,
        unit,
    )
