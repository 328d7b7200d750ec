"""Descriptive statistics of what was measured on many vines; empty is not zero."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike


@dataclass(frozen=True)
class Summary:
    """What a set of values says; None where there are too few values for it.

    Attributes
    ----------
    n, missing : int
        How many were measured and how many were not.
    mean, standard_deviation, minimum, median, maximum : float or None
        In the unit of the values.
    coefficient_of_variation : float or None
        100 · standard deviation / mean [%].
    """

    n: int
    missing: int
    mean: float | None
    standard_deviation: float | None
    coefficient_of_variation: float | None
    minimum: float | None
    median: float | None
    maximum: float | None


def summarise(values: ArrayLike) -> Summary:
    r"""Summarise values of which some may not have been measured.

    Parameters
    ----------
    values : array_like of float, shape (n,)
        Any unit; NaN means not measured, zero is a value.

    Returns
    -------
    Summary
        The standard deviation is the sample's (divisor n − 1) and needs two values; the coefficient of
        variation needs a mean above zero as well.

    Notes
    -----
    .. math:: s = \sqrt{\frac{1}{n-1}\sum (x_i - \bar x)^2}, \qquad CV = 100\,s / \bar x

    References
    ----------
    NIST/SEMATECH e-Handbook of Statistical Methods, sections 1.3.5.1 and 1.3.5.6 (from memory).

    Examples
    --------
    >>> summary = summarise([2.0, 4.0, float("nan")])
    >>> summary.n, summary.missing, summary.mean, round(summary.standard_deviation, 4)
    (2, 1, 3.0, 1.4142)
    >>> summarise([]).mean is None
    True
    """
    array = np.asarray(values, dtype=np.float64)
    measured = array[~np.isnan(array)]
    if measured.size == 0:
        return Summary(0, int(array.size), None, None, None, None, None, None)
    mean = float(measured.mean())
    deviation = float(measured.std(ddof=1)) if measured.size > 1 else None
    return Summary(
        n=int(measured.size),
        missing=int(array.size - measured.size),
        mean=mean,
        standard_deviation=deviation,
        coefficient_of_variation=100 * deviation / mean if deviation is not None and mean > 0 else None,
        minimum=float(measured.min()),
        median=float(np.median(measured)),
        maximum=float(measured.max()),
    )
