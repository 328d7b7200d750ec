"""By how much a mean, a spread and the limits between which most values lie may be off, from so many values."""

from __future__ import annotations

import math
from typing import Final

from scipy.special import chdtri, nctdtrit, ndtri, stdtrit

#: How many spreads the limits of agreement lie from the mean: 1.96, between which 95 % of a normal distribution lie.
LIMITS: Final = float(ndtri(0.975))


def bias_margin(n: int, spread: float, confidence: float) -> float:
    """Give how far the interval of a bias reaches to either side: t · spread / √n, by Student's t.

    Parameters
    ----------
    n : int
        Pairs, 2 or more.
    spread : float
        Sample standard deviation, in any unit.
    confidence : float
        Of the interval, between 0 and 1.

    Returns
    -------
    float
        In the unit of the spread.

    Examples
    --------
    >>> round(bias_margin(20, 1.0, 0.95), 3)
    0.468
    """
    return float(stdtrit(n - 1, (1 + confidence) / 2)) * spread / math.sqrt(n)


def spread_factors(n: int, confidence: float) -> tuple[float, float]:
    """Give what a spread is multiplied by for the ends of its interval: √((n − 1) / χ²).

    Parameters
    ----------
    n : int
        Pairs, 2 or more.
    confidence : float
        Of the interval, between 0 and 1.

    Returns
    -------
    low, high : float

    Examples
    --------
    >>> [round(factor, 3) for factor in spread_factors(20, 0.95)]
    [0.76, 1.461]
    """
    tail = (1 - confidence) / 2
    light, heavy = (math.sqrt((n - 1) / float(chdtri(n - 1, each))) for each in (tail, 1 - tail))
    return light, heavy


def limit_factors(n: int, confidence: float, share: float = 0.975) -> tuple[float, float]:
    """Give how many spreads from the mean the point may lie below which a share of a normal distribution lies.

    Parameters
    ----------
    n : int
        Pairs, 2 or more.
    confidence : float
        Of the interval with both ends.
    share : float
        0.975 for the upper limit of agreement; the lower one is its mirror.

    Returns
    -------
    inner, outer : float

    Examples
    --------
    >>> [round(factor, 3) for factor in limit_factors(20, 0.95)]
    [1.356, 3.014]
    """
    tail, shift = (1 - confidence) / 2, float(ndtri(share)) * math.sqrt(n)
    inner, outer = (float(nctdtrit(n - 1, shift, each)) / math.sqrt(n) for each in (tail, 1 - tail))
    return inner, outer
