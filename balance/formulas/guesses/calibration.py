"""A pruner's guesses held against the scale: how far off on the average, and how unlike from vine to vine."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any, Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

from balance.formulas.counting import counted
from balance.formulas.errors import OutOfRange
from balance.formulas.guesses.agreement_factors import LIMITS, bias_margin, limit_factors, spread_factors
from balance.formulas.methods import READ, Method

#: Two differences say nothing useful of their spread.
FEWEST_PAIRS: Final = 3
MOST_PAIRS: Final = 1_000_000
CONFIDENCE: Final = 0.95
TOO_FEW: Final = "{guesses} weighed after; fewer than 3 say nothing of a spread. Guess, then weigh, on more vines."
LEANINGS: Final = ("too_heavy", "too_light", "none_shown")
#: A weight is written with twelve decimals at most; what lies behind is noise of binary numbers.
_DECIMALS: Final = 12

AGREEMENT: Final = Method(
    "guess-against-scale",
    1,
    "Guesses held against the scale",
    "bias = mean of (guess − weight); limits of agreement = bias ± 1.96 × spread",
    "Bland & Altman 1999, Stat. Methods Med. Res. 8:135-160 (abstract READ); first in Lancet 1986, 327:307-310 (from "
    "memory)",
    READ,
    "The interval of the bias is by Student's t and that of the spread by chi-square (from memory). How far off the "
    "limits may be is exact, by the noncentral t distribution, as Carkeet 2015, Optom. Vis. Sci., and Shieh 2018, BMC "
    "Med. Res. Methodol., ask for (abstracts READ). "
    "All take the differences for draws of one normal distribution: a pruner whose errors grow with the vine is better "
    "judged in percent.",
)


@dataclass(frozen=True)
class Differences:
    """Guesses less weights, as their moments.

    Attributes
    ----------
    n : int
        Pairs of a guess and a weight.
    mean, spread : float or None
        Mean and sample standard deviation of guess − weight; None where there are too few.
    mean_weight : float or None
        Mean of the weights; None for differences in percent.
    """

    n: int
    mean: float | None
    spread: float | None
    mean_weight: float | None


@dataclass(frozen=True)
class Agreement:
    """How guesses agree with the scale, in the unit of the differences; None where there are too few pairs.

    Attributes
    ----------
    pairs : int
    bias, bias_low, bias_high : float or None
        Mean of guess − weight, above zero where the guesses are too heavy, and its interval.
    spread, spread_low, spread_high : float or None
        Standard deviation of guess − weight and its interval.
    low, high : float or None
        Limits of agreement, between which about 95 % of guesses lie.
    inner, outer : float or None
        How many spreads the limits may lie from the bias at least and at most, with the confidence of the interval.
    relative_bias : float or None
        100 · bias / mean weight [%].
    confidence : float
    """

    pairs: int
    bias: float | None = None
    bias_low: float | None = None
    bias_high: float | None = None
    spread: float | None = None
    spread_low: float | None = None
    spread_high: float | None = None
    low: float | None = None
    high: float | None = None
    inner: float | None = None
    outer: float | None = None
    relative_bias: float | None = None
    confidence: float = CONFIDENCE

    @property
    def leaning(self) -> str | None:
        """Whether the bias is more than chance: ``too_heavy``, ``too_light`` or ``none_shown``."""
        if self.bias_low is None or self.bias_high is None:
            return None
        if self.bias_low > 0:
            return "too_heavy"
        return "too_light" if self.bias_high < 0 else "none_shown"

    @property
    def reason(self) -> str | None:
        """Why there is no figure."""
        return TOO_FEW.format(guesses=counted(self.pairs, "guess was", "guesses were")) if self.bias is None else None

    def in_unit(self, factor: float) -> Agreement:
        """Give the same in another unit of weight, of which one of this unit makes ``factor``."""
        names = ("bias", "bias_low", "bias_high", "spread", "spread_low", "spread_high", "low", "high")
        scaled: dict[str, Any] = {
            name: None if (value := getattr(self, name)) is None else value * factor for name in names
        }
        return replace(self, **scaled)


def differences_of(guesses: ArrayLike, weights: ArrayLike) -> Differences:
    """Give the moments of guess less weight.

    Parameters
    ----------
    guesses, weights : array_like of float, shape (n,)
        Of the same vines, in one unit of weight; a pair of which either is NaN is left out, and zero is a weight.

    Returns
    -------
    Differences
        In the unit of the weights.

    Examples
    --------
    >>> differences_of([2.5, 3.0, 1.0], [2.0, 3.0, 1.5])
    Differences(n=3, mean=0.0, spread=0.5, mean_weight=2.1666666666666665)
    """
    guess, weight = _pairs(guesses, weights)
    return _moments(np.round(guess - weight, _DECIMALS), weight)


def percent_differences_of(guesses: ArrayLike, weights: ArrayLike) -> Differences:
    """Give the moments of guess less weight, each in percent of its own weight.

    Parameters
    ----------
    guesses, weights : array_like of float, shape (n,)
        As for :func:`differences_of`; a weight of zero has no percentage and is left out.

    Returns
    -------
    Differences
        In percent.

    Examples
    --------
    >>> percent_differences_of([2.5, 3.0, 1.0, 0.5], [2.0, 3.0, 1.25, 0.0]).spread
    22.546248764114473
    """
    guess, weight = _pairs(guesses, weights)
    some = weight > 0
    percent = np.round(100 * (guess[some] - weight[some]) / weight[some], 9)
    return _moments(percent, None)


def _pairs(guesses: ArrayLike, weights: ArrayLike) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    guess, weight = np.asarray(guesses, dtype=np.float64), np.asarray(weights, dtype=np.float64)
    whole = ~(np.isnan(guess) | np.isnan(weight))
    return guess[whole], weight[whole]


def _moments(differences: NDArray[np.float64], weights: NDArray[np.float64] | None) -> Differences:
    n = int(differences.size)
    return Differences(
        n=n,
        mean=float(differences.mean()) if n else None,
        spread=float(differences.std(ddof=1)) if n > 1 else None,
        mean_weight=float(weights.mean()) if n and weights is not None else None,
    )


def agreement_of(differences: Differences, confidence: float = CONFIDENCE) -> Agreement:
    r"""Say how guesses agree with the scale.

    Parameters
    ----------
    differences : Differences
        Their moments, of a million pairs at most.
    confidence : float
        Of the intervals, 0.5 to 0.999.

    Returns
    -------
    Agreement
        In the unit of the differences; without figures below three pairs.

    Raises
    ------
    OutOfRange

    Notes
    -----
    With :math:`\bar d` and *s* the mean and standard deviation of *n* differences, :math:`\alpha = 1 - confidence` and
    :math:`z = 1.96`,

    .. math::

        \bar d \pm t_{n-1,\,1-\alpha/2}\; s/\sqrt n, \qquad
        s \sqrt{(n-1)/\chi^2_{n-1,\,1-\alpha/2}} \ldots s \sqrt{(n-1)/\chi^2_{n-1,\,\alpha/2}}, \qquad
        \bar d \pm z s

    The limits of agreement lie :math:`t_{n-1,\,\alpha/2}(z\sqrt n)/\sqrt n` to
    :math:`t_{n-1,\,1-\alpha/2}(z\sqrt n)/\sqrt n` spreads from the bias, by the noncentral t distribution.

    References
    ----------
    Bland & Altman 1999, Stat. Methods Med. Res. 8:135-160; Carkeet 2015, Optom. Vis. Sci.; Shieh 2018, BMC Med. Res.
    Methodol. (abstracts READ).

    Examples
    --------
    >>> agreement = agreement_of(Differences(25, -0.1, 0.2, 1.0))
    >>> round(agreement.bias_low, 3), round(agreement.bias_high, 3), agreement.leaning
    (-0.183, -0.017, 'too_light')
    >>> round(agreement.low, 3), round(agreement.high, 3)
    (-0.492, 0.292)
    """
    n, bias, spread = differences.n, differences.mean, differences.spread
    if not 0 <= n <= MOST_PAIRS:
        raise OutOfRange("the number of pairs", n, 0, MOST_PAIRS)
    if not 0.5 <= confidence <= 0.999:
        raise OutOfRange("the confidence", confidence, 0.5, 0.999)
    if n < FEWEST_PAIRS or bias is None or spread is None:
        return Agreement(n, confidence=confidence)
    half = bias_margin(n, spread, confidence)
    light, heavy = spread_factors(n, confidence)
    inner, outer = limit_factors(n, confidence)
    return Agreement(
        pairs=n,
        bias=bias,
        bias_low=bias - half,
        bias_high=bias + half,
        spread=spread,
        spread_low=spread * light,
        spread_high=spread * heavy,
        low=bias - LIMITS * spread,
        high=bias + LIMITS * spread,
        inner=inner,
        outer=outer,
        relative_bias=100 * bias / differences.mean_weight if differences.mean_weight else None,
        confidence=confidence,
    )
