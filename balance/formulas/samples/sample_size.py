"""How many vines to weigh so that the mean of a block is known closely enough, from how unlike its vines are."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Final

from scipy import special

from balance.formulas.errors import OutOfRange
from balance.formulas.methods import MEMORY, Method

STUDENT: Final = "student"
NORMAL: Final = "normal"

#: The stated default where a block has no weights of its own [%].
DEFAULT_VARIATION: Final = 35.0
DEFAULT_REASON: Final = (
    "The block has no season before this one with at least 10 weights, so a stated default answers: 35 %. Single vines "
    "of one research vineyard varied by 34.5 % (coombe2019, Univ. Adelaide Biometry Hub, 349 vines, computed from the "
    "open file). Your block may be less even or more: its own weights replace the default."
)
#: A coefficient of variation from fewer weights than this says too little of a block.
FEWEST_FOR_A_SPREAD: Final = 10

SMALLEST_ERROR, LARGEST_ERROR = 0.1, 100.0
SMALLEST_CONFIDENCE, LARGEST_CONFIDENCE = 50.0, 99.9
LARGEST_VARIATION: Final = 500.0
MOST_VINES: Final = 10_000_000
#: Digits that mean something: limits met up to the noise of binary numbers are met.
_DIGITS: Final = 9

METHOD: Final = Method(
    code="vines-for-a-mean",
    version=1,
    label="Vines to weigh for the mean of a block",
    expression="n = n0 ÷ (1 + n0 ÷ N), n0 = (t × CV ÷ E)², t of Student with n − 1 degrees of freedom",
    source="Cochran 1977, Sampling Techniques, 3rd ed., chapter 4; Wolpert & Vilas 1992, Am. J. Enol. Vitic., "
    "Technical Brief, works from CV and tolerated error (its existence READ, its equation from memory)",
    mark=MEMORY,
    note="For weights, never the formula for proportions: a printed 260 of 800 vines at 5 % (WSU Topic of the Month, "
    "July 2006, READ) is that formula with p = 0.5 and knows nothing of how unlike the vines are.",
)


@dataclass(frozen=True)
class SampleSize:
    """How many vines to weigh, and what that gives.

    Attributes
    ----------
    vines : int
        The fewest that reach the wanted error, with the finite correction [vines].
    without_correction : int
        The same in a block without end [vines].
    quantile : float
        Of Student's t with vines − 1 degrees of freedom, or of the normal distribution.
    expected_error : float
        Half the interval that so many vines give if the spread is as told [% of the mean].
    """

    vines: int
    without_correction: int
    quantile: float
    expected_error: float


def quantile_of(vines: int, confidence: float, distribution: str = STUDENT) -> float:
    """Give how many standard errors the interval reaches to either side.

    Parameters
    ----------
    vines : int
        Sample size, at least 2 for Student's t [vines].
    confidence : float
        Confidence level, 50 to 99.9 [%].
    distribution : {"student", "normal"}
        ``normal`` takes the spread for known, which it never is.

    Returns
    -------
    float
        Two-sided quantile [1].

    Examples
    --------
    >>> round(quantile_of(10, 95), 3), round(quantile_of(10, 95, NORMAL), 3)
    (2.262, 1.96)
    """
    upper = 0.5 + confidence / 200
    return float(special.ndtri(upper) if distribution == NORMAL else special.stdtrit(vines - 1, upper))


def expected_error(
    vines: int, confidence: float, variation: float, population: int | None = None, distribution: str = STUDENT
) -> float:
    r"""Give the error to expect of the mean of so many vines.

    Parameters
    ----------
    vines : int
        Sample size, at least 1 [vines].
    confidence : float
        Confidence level, 50 to 99.9 [%].
    variation : float
        Coefficient of variation of single vines, 0 to 500 [%].
    population : int, optional
        Vines of the block; None: without end [vines].
    distribution : {"student", "normal"}

    Returns
    -------
    float
        Half the width of the interval [% of the mean]; zero where every vine is weighed, infinite for one of many.

    Raises
    ------
    OutOfRange
        A number lies outside its range, or the sample is larger than the block.

    Notes
    -----
    .. math:: E = t_{n-1}\, CV \sqrt{\frac{1}{n} - \frac{1}{N}}

    References
    ----------
    Cochran 1977, Sampling Techniques, 3rd ed., chapters 2 and 4 (from memory).

    Examples
    --------
    >>> round(expected_error(50, 95, 35), 2), round(expected_error(50, 95, 35, 352), 2), expected_error(9, 95, 35, 9)
    (9.95, 9.21, 0.0)
    """
    _refuse_impossible(confidence, variation, population)
    if not 1 <= vines <= (population or MOST_VINES):
        raise OutOfRange("the number of vines to weigh", vines, 1, population or MOST_VINES)
    return _half_width(vines, confidence, variation, population, distribution)


def vines_needed(
    error: float, confidence: float, variation: float, population: int | None = None, distribution: str = STUDENT
) -> SampleSize:
    r"""Give the fewest vines whose mean is as close as wanted, at the wanted confidence.

    Parameters
    ----------
    error : float
        Wanted error, half the width of the interval, 0.1 to 100 [% of the mean].
    confidence : float
        Confidence level, 50 to 99.9 [%].
    variation : float
        Coefficient of variation of single vines, 0 to 500 [%].
    population : int, optional
        Vines of the block, 1 to 10 million; None: without end [vines].
    distribution : {"student", "normal"}
        ``normal`` reproduces printed tables that take z = 1.96; answers to growers take Student's t.

    Returns
    -------
    SampleSize
        At least 2 vines, because a spread needs two, unless the block has one.

    Raises
    ------
    OutOfRange
        A number lies outside its range.

    Notes
    -----
    The smallest *n* with

    .. math:: n \ge \frac{n_0}{1 + n_0/N}, \qquad n_0 = \left(\frac{t_{n-1}\, CV}{E}\right)^2

    which is the same as :math:`t_{n-1} CV \sqrt{1/n - 1/N} \le E`.  The left side of that only falls with *n*, so
    halving an interval finds it exactly, and no iteration over the degrees of freedom can run in a circle.

    References
    ----------
    Cochran 1977, Sampling Techniques, 3rd ed., chapter 4 (from memory).  The formula for proportions is not used.

    Examples
    --------
    >>> vines_needed(10, 95, 35).vines, vines_needed(10, 95, 35, 352).vines, vines_needed(10, 95, 35, 352, NORMAL).vines
    (50, 44, 42)
    """
    _refuse_impossible(confidence, variation, population)
    if not SMALLEST_ERROR <= error <= LARGEST_ERROR:
        raise OutOfRange("the wanted error [% of the mean]", error, SMALLEST_ERROR, LARGEST_ERROR)

    def reaches(vines: int, of: int | None) -> bool:
        return _rounded(_half_width(vines, confidence, variation, of, distribution)) <= _rounded(error)

    fewest = 2 if distribution == STUDENT else 1
    if population is not None and population <= fewest:
        vines = population
    else:
        vines = _first(fewest, population, lambda count: reaches(count, population))
    return SampleSize(
        vines=vines,
        without_correction=_first(fewest, None, lambda count: reaches(count, None)),
        quantile=quantile_of(max(vines, 2), confidence, distribution),
        expected_error=_half_width(vines, confidence, variation, population, distribution),
    )


def _half_width(vines: int, confidence: float, variation: float, population: int | None, distribution: str) -> float:
    if vines == population or variation == 0:
        return 0.0
    if vines == 1 and distribution == STUDENT:
        return math.inf
    beyond = 1 / vines - (1 / population if population else 0)
    return quantile_of(vines, confidence, distribution) * variation * math.sqrt(beyond)


def _first(fewest: int, most: int | None, holds: Callable[[int], bool]) -> int:
    """Give the first number from ``fewest`` on for which a condition holds that then holds for all further."""
    if holds(fewest):
        return fewest
    low, high = fewest, most or 2 * fewest
    while most is None and not holds(high):
        low, high = high, 2 * high
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (low, middle) if holds(middle) else (middle, high)
    return high


def _rounded(number: float) -> float:
    return float(f"{number:.{_DIGITS}g}")


def _refuse_impossible(confidence: float, variation: float, population: int | None) -> None:
    if not SMALLEST_CONFIDENCE <= confidence <= LARGEST_CONFIDENCE:
        raise OutOfRange("the confidence [%]", confidence, SMALLEST_CONFIDENCE, LARGEST_CONFIDENCE)
    if not 0 <= variation <= LARGEST_VARIATION:
        raise OutOfRange("the coefficient of variation [%]", variation, 0, LARGEST_VARIATION)
    if population is not None and not 1 <= population <= MOST_VINES:
        raise OutOfRange("the number of vines in the block", population, 1, MOST_VINES)
