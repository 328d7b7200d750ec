"""A normal target and an injury lead to an adjusted target, and the injury's interval to a range of them."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

from balance.formulas.buds.bud_adjustments import OK, Adjustment, Judged, judge_injury
from balance.formulas.errors import OutOfRange
from balance.formulas.proportions import Share

#: A vine that is hardly pruned keeps some hundred nodes; more than this is no normal target.
MOST_NODES: Final = 2000
_DECIMALS: Final = 6


@dataclass(frozen=True)
class FactorRange:
    """What the normal target is multiplied by over the interval of an injury.

    Attributes
    ----------
    low, high : float or None
        Least and most over the part of the interval for which there is a number; ``high`` is None also where the
        factor grows beyond every number.
    whole : bool
        Whether there is a number over all of the interval.
    statuses : tuple of str
        Why there is none over the other parts, from low injury to high.
    """

    low: float | None
    high: float | None
    whole: bool
    statuses: tuple[str, ...]


@dataclass(frozen=True)
class AdjustedTarget:
    """A normal target adjusted by one method; no number where the method has none.

    ``judged`` says by what rule and factor; ``unrounded`` and ``nodes`` are the target, ``low`` and ``high`` its ends
    over the interval of the injury, all in nodes.
    """

    normal: float
    injury: Share
    judged: Judged
    unrounded: float | None
    nodes: int | None
    over: FactorRange
    low: int | None
    high: int | None


def factors_over(adjustment: Adjustment, injury: Share) -> FactorRange:
    """Give the factors of an adjustment over the exact interval of an injury.

    Parameters
    ----------
    adjustment : Adjustment
    injury : Share
        Dead primary buds out of the nodes examined.

    Returns
    -------
    FactorRange

    Notes
    -----
    Inside a band every rule grows with the injury, so the ends of the parts into which the bands cut the interval are
    looked at, and nothing between.  A part without a number is left out and named.

    Examples
    --------
    >>> from balance.formulas.buds.bud_adjustments import ADD_PERCENT, Band
    >>> from balance.formulas.proportions import exact_share
    >>> band = Band("x", 1, "X", 20, True, 40, True, ADD_PERCENT, 35, "a page", "READ", "", None, "")
    >>> factors_over(Adjustment((band,)), exact_share(35, 100))
    FactorRange(low=1.35, high=1.35, whole=False, statuses=('beyond_upper_limit',))
    """
    low, high = injury.low_percent, injury.high_percent
    ends = {end for band in adjustment.bands for end in (band.from_percent, band.to_percent) if low < end < high}
    factors: list[float | None] = []
    missing: list[str] = []
    for start, stop in pairwise([low, *sorted(ends), high]):
        judged = judge_injury(adjustment, (start + stop) / 2)
        if judged.status == OK:
            factors += [judged.bands[0].factor(start), judged.bands[0].factor(stop)]
        elif judged.status not in missing:
            missing.append(judged.status)
    known = [factor for factor in factors if factor is not None]
    unbounded = len(known) < len(factors)  # nothing lives at that end
    return FactorRange(
        low=min(known, default=None),
        high=None if unbounded else max(known, default=None),
        whole=not (missing or unbounded),
        statuses=(*missing, judge_injury(adjustment, high).status) if unbounded else tuple(missing),
    )


def adjust_target(adjustment: Adjustment, injury: Share, normal: float) -> AdjustedTarget:
    r"""Adjust a normal target to a share of primary buds that is dead, by one named method.

    Parameters
    ----------
    adjustment : Adjustment
        The method that the caller names.
    injury : Share
        Dead primary buds out of the nodes examined.
    normal : float
        The target without injury, 1 to 2,000 [nodes].

    Returns
    -------
    AdjustedTarget

    Raises
    ------
    OutOfRange

    Notes
    -----
    With *N* the normal target and *p* the injury in percent, each method is one of

    .. math:: N, \quad N\,(1 + p/100), \quad N\,(1 + v/100), \quad N / (1 - p/100)

    and the result is rounded to the nearest node, a half towards fewer.

    References
    ----------
    Those of the adjustment.

    Examples
    --------
    >>> from balance.formulas.buds.bud_adjustments import ADD_INJURY_PERCENT, Band
    >>> from balance.formulas.proportions import exact_share
    >>> band = Band("x", 1, "X", 20, True, 80, True, ADD_INJURY_PERCENT, None, "a page", "READ", "", None, "")
    >>> adjusted = adjust_target(Adjustment((band,)), exact_share(35, 100), 40)
    >>> adjusted.unrounded, adjusted.nodes, adjusted.low, adjusted.high
    (54.0, 54, 50, 58)
    """
    if not 1 <= normal <= MOST_NODES:
        raise OutOfRange("the normal target [nodes]", normal, 1, MOST_NODES)
    judged, over = judge_injury(adjustment, injury.percent), factors_over(adjustment, injury)
    unrounded = None if judged.factor is None else round(normal * judged.factor, _DECIMALS)
    nodes, low, high = (_whole(normal, factor) for factor in (judged.factor, over.low, over.high))
    return AdjustedTarget(normal, injury, judged, unrounded, nodes, over, low, high)


def _whole(normal: float, factor: float | None) -> int | None:
    return None if factor is None else int(adjusted_nodes(normal, factor))


def adjusted_nodes(normal: ArrayLike, factor: float) -> NDArray[np.float64]:
    """Multiply the targets of many vines and round each, a half towards fewer.

    Parameters
    ----------
    normal : array_like of float, shape (n,)
        Targets without injury [nodes]; NaN where a vine has none.
    factor : float
        From a method.

    Returns
    -------
    ndarray of float, shape (n,)
        Whole nodes; NaN stays NaN.

    Examples
    --------
    >>> adjusted_nodes([40, 45, float("nan")], 1.35).tolist()
    [54.0, 61.0, nan]
    """
    exact = np.round(np.asarray(normal, dtype=np.float64) * factor, _DECIMALS)
    whole: NDArray[np.float64] = np.ceil(exact - 0.5)
    return whole
