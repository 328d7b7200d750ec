"""The mean pruning weight of a block in one winter, with the interval that the number of vines weighed allows."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

from balance.formulas.crops.quotients import significant
from balance.formulas.errors import OutOfRange
from balance.formulas.samples.sample_size import quantile_of

#: Confidence of the interval of a winter's mean [%].
CONFIDENCE: Final = 95.0


@dataclass(frozen=True)
class Winter:
    """What was weighed in one dormant season.

    Attributes
    ----------
    season : int
        The dormant season: the calendar year of the harvest that comes after it.
    n, population : int
        Vines weighed, and vines that the mean is about.
    mean : float
        [kg a vine]
    standard_deviation, low, high : float or None
        [kg a vine]; None where one vine of several was weighed. Where all were weighed the interval has no width.
    """

    season: int
    n: int
    population: int
    mean: float
    standard_deviation: float | None
    low: float | None
    high: float | None


def winter_of(season: int, n: int, mean: float, deviation: float | None, population: int) -> Winter:
    r"""Give a winter's mean with its interval, from what a database sums up.

    Parameters
    ----------
    season : int
        The dormant season.
    n : int
        Vines weighed, 1 or more.
    mean : float
        Of their pruning weights [kg], 0 or more.
    deviation : float or None
        Their sample standard deviation (divisor n − 1) [kg]; None for one vine.
    population : int
        Vines of the block; where it is less than n, n are meant.

    Returns
    -------
    Winter

    Raises
    ------
    OutOfRange
        No vine was weighed, or a weight is negative.

    Notes
    -----
    .. math:: \bar x \pm t_{n-1}\, s \sqrt{\frac{1}{n} - \frac{1}{N}}

    as :func:`balance.formulas.samples.sample_estimate.estimate_mean` computes from the weights themselves.

    References
    ----------
    Cochran 1977, Sampling Techniques, 3rd ed., chapter 2 (from memory).

    Examples
    --------
    >>> winter = winter_of(2027, 3, 3.0, 1.0, 12)
    >>> round(winter.low, 3), round(winter.high, 3)
    (0.849, 5.151)
    """
    if n < 1:
        raise OutOfRange("the number of vines weighed", n, 1, math.inf)
    if not mean >= 0 or (deviation is not None and not deviation >= 0):
        raise OutOfRange("a pruning weight", mean if not mean >= 0 else deviation, 0, math.inf)
    vines = max(n, population)
    if n == vines:
        half: float | None = 0.0
    elif n == 1 or deviation is None:
        half = None
    else:
        half = quantile_of(n, CONFIDENCE) * deviation * math.sqrt(1 / n - 1 / vines)
    return Winter(
        season=season,
        n=n,
        population=vines,
        mean=_rounded(mean),
        standard_deviation=None if deviation is None else _rounded(deviation),
        low=None if half is None else max(0.0, _rounded(mean - half)),
        high=None if half is None else _rounded(mean + half),
    )


def _rounded(number: float) -> float:
    return float(significant([number])[0])
