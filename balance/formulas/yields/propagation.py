"""Products of estimates with the propagated standard error, and the interval of a figure."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Final

from scipy import special

from balance.formulas.errors import OutOfRange
from balance.formulas.yields.estimates import Estimate

#: Confidence levels that may be asked for [%].
CONFIDENCE: Final = (50.0, 99.9)


@dataclass(frozen=True)
class Interval:
    """Where a figure lies with a stated confidence [%]."""

    low: float
    high: float
    confidence: float


def product(*factors: Estimate) -> Estimate:
    r"""Multiply estimates that are independent of each other, with the propagated standard error.

    Parameters
    ----------
    *factors : Estimate

    Returns
    -------
    Estimate
        Without standard error where a factor has none, unless another factor is exactly zero.

    Notes
    -----
    First order (the law of propagation of uncertainty):

    .. math:: s_y^2 = \sum_i u_i^2, \qquad u_i = s_i \prod_{j \ne i} x_j

    For two factors the exact variance of a product of independent variables adds :math:`s_1^2 s_2^2` [2]_, and its
    unbiased estimate from samples subtracts as much; first order lies between the two. :func:`exact_standard_error`
    gives the larger one. Degrees of freedom are those of Welch and Satterthwaite, not rounded down:

    .. math:: \nu = \frac{s_y^4}{\sum_i u_i^4 / \nu_i}

    References
    ----------
    .. [1] JCGM 100:2008 (GUM), sections 5.1.2 and G.4.1 (from memory).
    .. [2] Goodman 1960, On the exact variance of products, J. Amer. Statist. Assoc. 55:708-713 (from memory).

    Examples
    --------
    >>> yields = product(Estimate(767, 7.6), Estimate(40, 2.0, 19), Estimate(0.24, 0.01, 99))
    >>> round(yields.value, 1), round(yields.standard_error, 1)
    (7363.2, 484.8)
    """
    value = math.prod(factor.value for factor in factors)
    parts = [math.prod(other.value for other in _others(factors, index)) for index in range(len(factors))]
    if any(factor.standard_error is None and part for factor, part in zip(factors, parts, strict=True)):
        return Estimate(value, None, 0)
    shares = [part * (factor.standard_error or 0.0) for factor, part in zip(factors, parts, strict=True)]
    together = math.hypot(*shares)
    if together == 0:
        return Estimate(value, 0.0)
    spent = sum(
        (share / together) ** 4 / factor.degrees_of_freedom
        for share, factor in zip(shares, factors, strict=True)
        if share
    )
    return Estimate(value, together, 1 / spent if spent else math.inf)


def exact_standard_error(*factors: Estimate) -> float | None:
    r"""Give the standard error of a product of independent variables without leaving out terms of higher order.

    Returns
    -------
    float or None
        None where a factor has no standard error.

    Notes
    -----
    .. math:: s_y^2 = \prod_i (x_i^2 + s_i^2) - \prod_i x_i^2

    References
    ----------
    .. [1] Goodman 1962, The variance of the product of K random variables, J. Amer. Statist. Assoc. 57:54-60 (from
       memory).

    Examples
    --------
    >>> round(exact_standard_error(Estimate(767, 7.6), Estimate(40, 2.0, 19), Estimate(0.24, 0.01, 99)), 1)
    485.0
    """
    variance, square = 0.0, 1.0
    for factor in factors:
        if factor.standard_error is None:
            return None
        own = factor.standard_error**2
        variance = variance * (factor.value**2 + own) + square * own  # so that nothing cancels
        square *= factor.value**2
    return math.sqrt(variance)


def times(estimate: Estimate, number: float) -> Estimate:
    """Multiply by a number that is exact, such as a conversion of units.

    Examples
    --------
    >>> times(Estimate(2.0, 0.5, 9, 10), 2)
    Estimate(value=4.0, standard_error=1.0, degrees_of_freedom=9, n=10)
    """
    error = None if estimate.standard_error is None else estimate.standard_error * abs(number)
    return replace(estimate, value=estimate.value * number, standard_error=error)


def interval_of(estimate: Estimate, confidence: float = 95) -> Interval | None:
    r"""Give the interval in which a figure lies.

    Parameters
    ----------
    estimate : Estimate
    confidence : float, optional
        50 to 99.9 [%].

    Returns
    -------
    Interval or None
        By Student's t; never below zero, because nothing measured here can be. None without a standard error.

    Raises
    ------
    OutOfRange

    Notes
    -----
    .. math:: x \pm t_{\nu,\,1/2 + c/200}\; s

    Examples
    --------
    >>> interval = interval_of(Estimate(40.0, 2.0, 19))
    >>> round(interval.low, 2), round(interval.high, 2)
    (35.81, 44.19)
    """
    if not CONFIDENCE[0] <= confidence <= CONFIDENCE[1]:
        raise OutOfRange("the confidence [%]", confidence, *CONFIDENCE)
    if estimate.standard_error is None:
        return None
    if estimate.standard_error == 0:
        return Interval(estimate.value, estimate.value, confidence)
    quantile = float(special.stdtrit(estimate.degrees_of_freedom, 0.5 + confidence / 200))
    margin = quantile * estimate.standard_error
    return Interval(max(0.0, estimate.value - margin), estimate.value + margin, confidence)


def _others(factors: tuple[Estimate, ...], index: int) -> tuple[Estimate, ...]:
    return factors[:index] + factors[index + 1 :]
