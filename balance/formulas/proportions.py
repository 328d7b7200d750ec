"""What a count out of so many says of the share behind it: the exact interval, and how many to look at."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import betaincinv, chdtrc

from balance.formulas.errors import OutOfRange
from balance.formulas.searching import smallest_enough

#: What a count may be of, at most; and the search for a sample size goes no farther than a million.
MOST_EXAMINED: Final = 1_000_000_000
_MOST_SEARCHED: Final = 1_000_000
USUAL_CONFIDENCE: Final = 0.95
#: A billionth of a percent means nothing, and what is smaller still is beyond the reach of the beta distribution.
_DECIMALS: Final = 9


@dataclass(frozen=True)
class Share:
    """A share with its exact interval.

    Attributes
    ----------
    count, of : int
        So many out of so many.
    percent, low_percent, high_percent : float
        The share and the ends of its interval [%].
    confidence : float
        Of the interval, between 0 and 1.
    """

    count: int
    of: int
    percent: float
    low_percent: float
    high_percent: float
    confidence: float

    @property
    def margin_percent(self) -> float:
        """How far the farther end of the interval lies from the share [percentage points]."""
        return max(self.percent - self.low_percent, self.high_percent - self.percent)


def exact_share(count: int, of: int, confidence: float = USUAL_CONFIDENCE) -> Share:
    r"""Give the share that a count stands for, with its exact binomial interval (Clopper and Pearson).

    Parameters
    ----------
    count : int
        How many had it, 0 to ``of``.
    of : int
        How many were looked at, 1 to a thousand million.
    confidence : float
        0.5 to 0.999.

    Returns
    -------
    Share
        In percent.

    Raises
    ------
    OutOfRange

    Notes
    -----
    With *B* the quantile of the beta distribution and :math:`\alpha = 1 - confidence`,

    .. math:: low = B(\alpha/2;\, x,\, n-x+1), \qquad high = B(1-\alpha/2;\, x+1,\, n-x)

    and 0 and 1 at the ends.  The interval takes every one looked at for a draw of its own.  Never narrower than it
    says, so a little wider than the interval by the normal distribution.

    References
    ----------
    Clopper & Pearson 1934, Biometrika 26:404-413 (from memory); held to statsmodels in the tests.

    Examples
    --------
    >>> share = exact_share(35, 100)
    >>> share.percent, round(share.low_percent, 1), round(share.high_percent, 1)
    (35.0, 25.7, 45.2)
    """
    if not 1 <= of <= MOST_EXAMINED:
        raise OutOfRange("the number looked at", of, 1, MOST_EXAMINED)
    if not 0 <= count <= of:
        raise OutOfRange("the count", count, 0, of)
    _refuse_confidence(confidence)
    low, high = _ends(count, of, confidence)
    return Share(count, of, 100 * count / of, 100 * low, 100 * high, confidence)


def _refuse_confidence(confidence: float) -> None:
    if not 0.5 <= confidence <= 0.999:
        raise OutOfRange("the confidence", confidence, 0.5, 0.999)


def _ends(count: float, of: float, confidence: float) -> tuple[float, float]:
    """Give both ends of the interval as shares; a count between whole numbers is taken as it is."""
    tail = (1 - confidence) / 2
    low = 0.0 if count <= 0 else float(betaincinv(count, of - count + 1, tail))
    high = 1.0 if count >= of else float(betaincinv(count + 1, of - count, 1 - tail))
    return low, high


def needed_for_margin(expected_percent: float, margin_percent: float, confidence: float = USUAL_CONFIDENCE) -> int:
    """Give how many to look at so that neither end of the exact interval is farther away than a wanted margin.

    Parameters
    ----------
    expected_percent : float
        The share that is expected, 0 to 100 [%].
    margin_percent : float
        The wanted margin, 0.5 to 50 [percentage points].
    confidence : float
        0.5 to 0.999.

    Returns
    -------
    int
        The smallest such number.

    Raises
    ------
    OutOfRange

    Notes
    -----
    The ends are those of :func:`exact_share` at a count of expected · n, which need be no whole number: so the margin
    falls steadily with n, and the number is found by halving.

    Examples
    --------
    >>> needed_for_margin(35, 10), needed_for_margin(35, 5), needed_for_margin(0, 5)
    (104, 385, 72)
    """
    if not 0 <= expected_percent <= 100:
        raise OutOfRange("the expected share [%]", expected_percent, 0, 100)
    if not 0.5 <= margin_percent <= 50:
        raise OutOfRange("the wanted margin [percentage points]", margin_percent, 0.5, 50)
    _refuse_confidence(confidence)
    expected, margin = round(expected_percent, _DECIMALS) / 100, margin_percent / 100

    def enough(of: int) -> bool:
        low, high = _ends(expected * of, of, confidence)
        return max(expected - low, high - expected) <= margin

    return smallest_enough(enough, 1, _MOST_SEARCHED) or _MOST_SEARCHED  # any margin here takes less


def chance_of_unlikeness(counts: ArrayLike, of: ArrayLike) -> float | None:
    r"""Give how likely samples of one and the same share differ as much as these do.

    Parameters
    ----------
    counts, of : array_like of int, shape (n,)
        So many out of so many, a sample each.

    Returns
    -------
    float or None
        The probability, 0 to 1; None for fewer than two samples, or where all or none had it.

    Notes
    -----
    Pearson's test of homogeneity with *n* - 1 degrees of freedom,

    .. math:: \chi^2 = \sum \frac{(x_i - n_i \bar p)^2}{n_i \bar p (1 - \bar p)}

    which is rough where fewer than five are expected in a sample.

    References
    ----------
    NIST/SEMATECH e-Handbook of Statistical Methods, section 7.4.5 (from memory); held to scipy in the tests.

    Examples
    --------
    >>> round(chance_of_unlikeness([20, 50], [100, 100]), 6), chance_of_unlikeness([20], [100])
    (9e-06, None)
    """
    had, looked_at = np.asarray(counts, dtype=np.float64), np.asarray(of, dtype=np.float64)
    if had.size < 2 or not 0 < had.sum() < looked_at.sum():
        return None
    pooled = had.sum() / looked_at.sum()
    expected = looked_at * pooled
    statistic = float(((had - expected) ** 2 / (expected * (1 - pooled))).sum())
    return float(chdtrc(had.size - 1, statistic))
