"""How much of the difference between means is chance and how much is real, by the method of moments."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Numbers = NDArray[np.float64]


def pooled_variance(counts: Numbers, deviations: Numbers) -> float | None:
    r"""Pool the variance inside groups.

    Parameters
    ----------
    counts : ndarray of float, shape (g,)
        Values of each group.
    deviations : ndarray of float, shape (g,)
        Sample standard deviations; NaN where a group has one value.

    Returns
    -------
    float or None
        In the square of the unit; None where no group has two values.

    Notes
    -----
    .. math:: s^2 = \sum (n_i - 1) s_i^2 \big/ \sum (n_i - 1)

    Examples
    --------
    >>> pooled_variance(np.array([3.0, 2.0, 1.0]), np.array([1.0, 2.0, np.nan]))
    2.0
    """
    spread = (counts > 1) & ~np.isnan(deviations)
    freedom = counts[spread] - 1
    return float((freedom * deviations[spread] ** 2).sum() / freedom.sum()) if freedom.sum() else None


def between_variance(means: Numbers, variances: Numbers, weights: Numbers, farms: NDArray[np.intp]) -> float:
    r"""Estimate the variance of true means within their farms: what the means differ by, beyond chance.

    Parameters
    ----------
    means : ndarray of float, shape (g,)
    variances : ndarray of float, shape (g,)
        Variance of each mean as an estimate.
    weights : ndarray of float, shape (g,)
        Any that do not rest on the means, e.g. the numbers of values.
    farms : ndarray of int, shape (g,)
        The farm of each, from 0 without gaps; at least one farm has two.

    Returns
    -------
    float
        In the square of the unit; unbiased before it is cut off at zero, and never negative.

    Notes
    -----
    With weights *w*, farm means :math:`\bar y_j` weighted by them and :math:`W_j = \sum w` of the farm,

    .. math:: \hat A = \frac{\sum w (y - \bar y_j)^2 - \sum w v (1 - w/W_j)}{\sum_j (W_j - \sum w^2/W_j)}

    because the expectation of the first sum is A times the denominator and the second sum.  With weights n and
    v = s²/n this is the estimator of the analysis of variance, (mean square between − within) / n0.

    References
    ----------
    Searle, Casella & McCulloch 1992, Variance Components (from memory).

    Examples
    --------
    >>> one_farm = np.zeros(3, dtype=np.intp)
    >>> between_variance(np.array([1.0, 2.0, 3.0]), np.full(3, 0.25), np.ones(3), one_farm)
    0.75
    """
    total = np.bincount(farms, weights)[farms]
    centre = (np.bincount(farms, weights * means) / np.bincount(farms, weights))[farms]
    seen = (weights * (means - centre) ** 2).sum()
    by_chance = (weights * variances * (1 - weights / total)).sum()
    return max(0.0, float((seen - by_chance) / (weights * (1 - weights / total)).sum()))


def weighted_centre(means: Numbers, variances: Numbers, farms: NDArray[np.intp]) -> tuple[Numbers, Numbers]:
    """Give the mean of each farm, each value weighted by how well it is known, and the variance of that mean.

    Parameters
    ----------
    means, variances : ndarray of float, shape (g,)
        A variance of zero is of a mean known exactly: it leaves no weight to others.
    farms : ndarray of int, shape (g,)
        The farm of each, from 0 without gaps.

    Returns
    -------
    centres, variances : ndarray of float, shape (number of farms,)

    Examples
    --------
    >>> centres, unsure = weighted_centre(np.array([1.0, 4.0]), np.array([1.0, 2.0]), np.zeros(2, dtype=np.intp))
    >>> centres.tolist(), unsure.round(4).tolist()
    ([2.0], [0.6667])
    """
    exact = variances == 0
    has_exact = np.bincount(farms, exact) > 0
    precision = np.where(has_exact[farms], exact, 1 / np.where(exact, 1.0, variances))
    total = np.bincount(farms, precision)
    return np.bincount(farms, precision * means) / total, np.where(has_exact, 0.0, 1 / total)


def share_of_chance(variances: Numbers, between: float) -> Numbers:
    """Give how much of a mean's distance from the centre is put down to chance, 0 to 1.

    Examples
    --------
    >>> share_of_chance(np.array([0.0, 1.0, 3.0]), 1.0).tolist(), share_of_chance(np.array([0.0, 1.0]), 0.0).tolist()
    ([0.0, 0.5, 0.75], [0.0, 1.0])
    """
    whole = variances + between
    return np.where(variances > 0, variances / np.where(whole > 0, whole, 1.0), 0.0)
