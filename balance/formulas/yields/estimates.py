"""Figures with how well they are known: means, shares and ratios of samples, and what the next season brings."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from balance.formulas.errors import OutOfRange


@dataclass(frozen=True)
class Estimate:
    """A figure that is not negative, and how well it is known.

    Attributes
    ----------
    value : float
        In the unit of what was measured.
    standard_error : float or None
        In the same unit; 0 where everything was counted, None where nothing tells.
    degrees_of_freedom : float
        Behind the standard error; infinite where it is exact or taken as known.
    n : int or None
        How many vines, clusters or seasons it rests on; None where that was not said.
    """

    value: float
    standard_error: float | None
    degrees_of_freedom: float = math.inf
    n: int | None = None


def exact(value: float) -> Estimate:
    """Give a figure that has no uncertainty of its own: counted, measured whole, or laid down.

    Examples
    --------
    >>> exact(767).standard_error
    0.0
    """
    return Estimate(float(value), 0.0)


def mean_of(values: ArrayLike, population: int | None = None) -> Estimate:
    r"""Estimate a mean from a random or systematic sample.

    Parameters
    ----------
    values : array_like of float, shape (n,)
        One a unit that was drawn, 0 or more; n is at least 1.
    population : int, optional
        How many units there are in all; without it the sample is taken as a small part of them.

    Returns
    -------
    Estimate
        With n − 1 degrees of freedom; one value tells no standard error, the whole population has none.

    Raises
    ------
    OutOfRange
        No value, a negative or infinite one, or more values than the population has.

    Notes
    -----
    .. math:: s_{\bar x} = \frac{s}{\sqrt n}\sqrt{1 - n/N}

    References
    ----------
    .. [1] Cochran 1977, Sampling Techniques, 3rd ed., section 2.6 (from memory).

    Examples
    --------
    >>> mean_of([38, 42]), round(mean_of([38, 42], 4).standard_error, 4)
    (Estimate(value=40.0, standard_error=2.0, degrees_of_freedom=1, n=2), 1.4142)
    """
    sample = _checked(values)
    size = sample.size
    left_out = _left_out(size, population)
    mean = float(sample.mean())
    if left_out == 0:
        return Estimate(mean, 0.0, math.inf, size)
    if size == 1:
        return Estimate(mean, None, 0, 1)
    return Estimate(mean, float(sample.std(ddof=1)) / math.sqrt(size) * math.sqrt(left_out), size - 1, size)


def ratio_of(totals: ArrayLike, counts: ArrayLike) -> Estimate:
    r"""Estimate the mean of one from totals of several: the weight of a cluster from weights of clusters, vine by vine.

    Parameters
    ----------
    totals, counts : array_like of float, shape (n,)
        What was weighed on each vine together, 0 or more, and how many that were, above 0.

    Returns
    -------
    Estimate
        Vines are what was drawn, so n − 1 degrees of freedom for n vines; one vine tells no standard error.

    Raises
    ------
    OutOfRange

    Notes
    -----
    The ratio estimator, whose variance is of first order in 1/n:

    .. math:: r = \frac{\sum y_i}{\sum x_i}, \qquad
              s_r = \frac{1}{\bar x}\sqrt{\frac{\sum (y_i - r x_i)^2}{n (n - 1)}}

    References
    ----------
    .. [1] Cochran 1977, Sampling Techniques, 3rd ed., section 2.11 (from memory).

    Examples
    --------
    >>> estimate = ratio_of([0.58, 0.50], [10, 10])
    >>> round(estimate.value, 4), round(estimate.standard_error, 4)
    (0.054, 0.004)
    """
    weighed, counted = _checked(totals), _checked(counts)
    if weighed.size != counted.size or not (counted > 0).all():
        raise OutOfRange("the number that was weighed together", float(counted.min()), 1, math.inf)
    size = weighed.size
    ratio = float(weighed.sum() / counted.sum())
    if size == 1:
        return Estimate(ratio, None, 0, 1)
    squares = float(((weighed - ratio * counted) ** 2).sum())
    return Estimate(ratio, math.sqrt(squares / (size * (size - 1))) / float(counted.mean()), size - 1, size)


def share_of(found: int, looked_at: int, population: int | None = None) -> Estimate:
    r"""Estimate a share from a sample: of places without a vine among places that were looked at.

    Parameters
    ----------
    found, looked_at : int
        0 to ``looked_at``; 1 or more.
    population : int, optional
        How many places there are in all.

    Returns
    -------
    Estimate
        A share from 0 to 1 with n − 1 degrees of freedom.

    Raises
    ------
    OutOfRange

    Notes
    -----
    .. math:: s_p = \sqrt{\frac{p (1 - p)}{n - 1}\left(1 - \frac nN\right)}

    where nothing, or everything, was found the formula gives 0, which says too little of a small sample.

    References
    ----------
    .. [1] Cochran 1977, Sampling Techniques, 3rd ed., section 3.3 (from memory).

    Examples
    --------
    >>> estimate = share_of(10, 200)
    >>> estimate.value, round(estimate.standard_error, 5)
    (0.05, 0.01545)
    """
    if looked_at < 1:
        raise OutOfRange("the number that was looked at", looked_at, 1, population or math.inf)
    if not 0 <= found <= looked_at:
        raise OutOfRange("the number that was found", found, 0, looked_at)
    left_out = _left_out(looked_at, population)
    share = found / looked_at
    if left_out == 0:
        return Estimate(share, 0.0, math.inf, looked_at)
    if looked_at == 1:
        return Estimate(share, None, 0, 1)
    return Estimate(share, math.sqrt(share * (1 - share) / (looked_at - 1) * left_out), looked_at - 1, looked_at)


def next_of(values: ArrayLike) -> Estimate:
    r"""Estimate what the next season brings from seasons of the past: a draw of its own, not their mean.

    Parameters
    ----------
    values : array_like of float, shape (n,)
        One a season, 0 or more.

    Returns
    -------
    Estimate
        The mean, with the standard error of a prediction and n − 1 degrees of freedom; one season tells none.

    Raises
    ------
    OutOfRange

    Notes
    -----
    Seasons count alike, and as draws from one distribution:

    .. math:: s_{pred} = s\sqrt{1 + 1/n}

    References
    ----------
    .. [1] Prediction interval for one further observation of a normal sample: textbook (from memory).

    Examples
    --------
    >>> estimate = next_of([1.8, 2.0, 2.2])
    >>> round(estimate.value, 4), round(estimate.standard_error, 4)
    (2.0, 0.2309)
    """
    seasons = _checked(values)
    mean = float(seasons.mean())
    if seasons.size == 1:
        return Estimate(mean, None, 0, 1)
    deviation = float(seasons.std(ddof=1))
    return Estimate(mean, deviation * math.sqrt(1 + 1 / seasons.size), seasons.size - 1, seasons.size)


def _checked(values: ArrayLike) -> NDArray[np.float64]:
    sample = np.asarray(values, dtype=np.float64)
    if sample.size == 0:
        raise OutOfRange("the number of values", 0, 1, math.inf)
    wrong = sample[~((sample >= 0) & (sample < math.inf))]
    if wrong.size:
        raise OutOfRange("a measured value", float(wrong[0]), 0, math.inf)
    return sample


def _left_out(size: int, population: int | None) -> float:
    """Give the share of the population that the sample leaves out."""
    if population is None:
        return 1.0
    if size > population:
        raise OutOfRange("the size of the sample", size, 1, population)
    return 1 - size / population
