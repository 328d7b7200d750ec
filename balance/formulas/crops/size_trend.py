"""How the size of vines has moved from winter to winter: weakening, gaining, steady, or too few winters to tell."""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import combinations
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import stdtrit

from balance.formulas.crops.quotients import MOST
from balance.formulas.errors import OutOfRange
from balance.formulas.methods import MEMORY, Method
from balance.formulas.targets.explanation import plain

WEAKENING: Final = "weakening"
GAINING: Final = "gaining"
STEADY: Final = "steady"
NOT_ENOUGH_YEARS: Final = "not_enough_years"
JUDGEMENTS: Final = (WEAKENING, GAINING, STEADY, NOT_ENOUGH_YEARS)

#: Two winters always lie on a line; the third is the first that can contradict it.
FEWEST_WINTERS: Final = 3
CONFIDENCE: Final = 0.90
#: Vine size that moves by less than this a year is called steady (stated default; common practice, no source).
STEADY_WITHIN: Final = 0.05
#: A millionth of the logarithm means nothing; below it winters lie exactly on a line.
_DECIMALS: Final = 9

METHOD: Final = Method(
    code="vine-size-trend",
    version=1,
    label="Trend of vine size",
    expression="least squares of the logarithm of the mean pruning weight on the season, with its t interval",
    source="Least squares and its interval: Draper & Smith, Applied Regression Analysis (from memory). The slope "
    "beside it: Sen 1968, J. Amer. Statist. Assoc. 63:1379-1389 (from memory). That a block's own history is the "
    "measure: Oregon State Univ. EM 9068 (READ). That a vine cropped below its range gains size and one above it loses "
    "size: Cornell Lake Erie laboratory, on Concord (READ)",
    mark=MEMORY,
    note="Steady means within 5 % a year, with 90 % confidence unless said otherwise (stated defaults; common "
    "practice, no source). A vine that shrinks raises its own crop load, because its prunings are the divisor: read "
    "the two together, never the ratio alone. The advice changes no formula.",
)


@dataclass(frozen=True)
class SizeTrend:
    """What the mean sizes of several winters say together; None where there are too few of them.

    Attributes
    ----------
    seasons : tuple of int
        The dormant seasons that the line is drawn through.
    change, low, high : float or None
        Change of vine size in a year and the limits of its interval, as a share: −0.1 is a tenth lost a year.
    robust_change : float or None
        The same by the median of the slopes between any two winters, which one odd winter cannot move.
    over_all : float or None
        Change along the line from the first to the last winter, as a share.
    confidence : float
        Of the interval, as a share.
    judgement : str
        One of ``JUDGEMENTS``.
    reason : str
        Why it is judged so, in a sentence.
    """

    seasons: tuple[int, ...]
    change: float | None
    low: float | None
    high: float | None
    robust_change: float | None
    over_all: float | None
    confidence: float
    judgement: str
    reason: str


def size_trend(
    seasons: ArrayLike, sizes: ArrayLike, *, confidence: float = CONFIDENCE, steady_within: float = STEADY_WITHIN
) -> SizeTrend:
    r"""Judge how vine size has moved from winter to winter.

    Parameters
    ----------
    seasons : array_like of int, shape (n,)
        Dormant seasons, each once, in any order; gaps are allowed.
    sizes : array_like of float, shape (n,)
        Mean pruning weight of the same vines in each [kg, or any one unit], 0 to 10⁹; NaN where none was weighed.
        A winter without a size, or with zero, is left out: it has no logarithm.
    confidence : float
        Of the interval, 0.5 to 0.99.
    steady_within : float
        A change of no more than this share a year is called steady, 0 to 0.5.

    Returns
    -------
    SizeTrend

    Raises
    ------
    OutOfRange
        A size is negative, infinite or above 10⁹, a season stands twice or lies outside 1900 to 2100, or a setting lies
        outside its limits.

    Notes
    -----
    .. math:: \ln s_t = a + b\,t + e_t, \qquad \text{change a year} = e^{b} - 1

    with the interval of *b* by Student's t on n − 2 degrees of freedom. The logarithm makes a loss of a tenth weigh the
    same on large and small vines, and the answer the same in pounds and kilograms. Least squares carries the judgement
    because its interval exists from three winters on; the distribution-free interval of Theil and Sen reaches 90 % with
    five winters at the earliest. Their slope stands beside it as a check against one odd winter. Each winter counts
    once, whatever the number of vines weighed: frost, drought and crop make winters differ far more than samples do.

    - *steady*: the whole interval lies within ± ``steady_within``;
    - *weakening*, *gaining*: the whole interval lies on one side of zero;
    - *not enough years*: fewer than three winters, or an interval that holds a loss as well as a gain.

    References
    ----------
    Draper & Smith, Applied Regression Analysis, chapter 1 (from memory). Sen 1968, J. Amer. Statist. Assoc.
    63:1379-1389 (from memory).

    Examples
    --------
    >>> trend = size_trend([2023, 2024, 2025, 2026, 2027], [1.52, 1.40, 1.22, 1.11, 1.01])
    >>> trend.judgement, round(trend.change, 3), round(trend.low, 3), round(trend.high, 3)
    ('weakening', -0.1, -0.109, -0.09)
    >>> size_trend([2026, 2027], [1.5, 1.4]).judgement
    'not_enough_years'
    """
    _refuse_settings(confidence, steady_within)
    years, logs = _usable(seasons, sizes)
    named = tuple(int(year) for year in years)
    if len(named) < FEWEST_WINTERS:
        return SizeTrend(named, *(None,) * 5, confidence, NOT_ENOUGH_YEARS, _too_few(len(named)))
    slope, half_width = _line(years, logs, confidence)
    change, low, high = (_share(each) for each in (slope, slope - half_width, slope + half_width))
    judgement = _judged(low, high, steady_within)
    return SizeTrend(
        seasons=named,
        change=change,
        low=low,
        high=high,
        robust_change=_share(_median_slope(years, logs)),
        over_all=_share(slope * float(years[-1] - years[0])),
        confidence=confidence,
        judgement=judgement,
        reason=_reason(judgement, low, high, steady_within),
    )


def _refuse_settings(confidence: float, steady_within: float) -> None:
    if not 0.5 <= confidence <= 0.99:
        raise OutOfRange("the confidence", confidence, 0.5, 0.99)
    if not 0 <= steady_within <= 0.5:
        raise OutOfRange("the change a year that is called steady", steady_within, 0, 0.5)


def _usable(seasons: ArrayLike, sizes: ArrayLike) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Give the seasons that have a size, in order, and the logarithms of their sizes."""
    years, values = (np.asarray(each, dtype=np.float64) for each in (seasons, sizes))
    wrong = values[(values < 0) | (values > MOST)]
    if wrong.size:
        raise OutOfRange("the mean pruning weight", float(wrong[0]), 0, MOST)
    outside = years[~((years >= 1900) & (years <= 2100))]
    if outside.size:
        raise OutOfRange("a season", float(outside[0]), 1900, 2100)
    if len(np.unique(years)) < len(years):
        raise OutOfRange("the number of sizes of one season", "more than one", 1, 1)
    order = np.argsort(years)
    years, values = years[order], values[order]
    usable = ~np.isnan(values) & (values > 0)
    return years[usable], np.log(values[usable])


def _line(years: NDArray[np.float64], logs: NDArray[np.float64], confidence: float) -> tuple[float, float]:
    """Give the slope of the least-squares line, and half the width of its interval."""
    at, over = years - years.mean(), logs - logs.mean()
    spread = float(at @ at)
    slope = float(at @ over) / spread
    left = over - slope * at
    freedom = len(years) - 2
    error = math.sqrt(float(left @ left) / freedom / spread)
    return slope, float(stdtrit(freedom, (1 + confidence) / 2)) * error


def _median_slope(years: NDArray[np.float64], logs: NDArray[np.float64]) -> float:
    pairs = combinations(range(len(years)), 2)
    return float(np.median([(logs[b] - logs[a]) / (years[b] - years[a]) for a, b in pairs]))


def _share(slope: float) -> float:
    """Give a slope of logarithms as a share; one so steep that it means nothing stays a number."""
    return round(math.expm1(min(slope, 50.0)), _DECIMALS) + 0.0  # no minus before a zero


def _judged(low: float, high: float, steady_within: float) -> str:
    if -steady_within <= low and high <= steady_within:
        return STEADY
    if high < 0:
        return WEAKENING
    return GAINING if low > 0 else NOT_ENOUGH_YEARS


def _too_few(winters: int) -> str:
    count = {0: "No winter has", 1: "One winter has"}.get(winters, f"{winters} winters have")
    return f"{count} a mean pruning weight above zero; a trend needs {FEWEST_WINTERS}."


def _reason(judgement: str, low: float, high: float, steady_within: float) -> str:
    between = f"Between {percent(low)} and {percent(high)} a year"
    return {
        STEADY: f"{between}, which is within ±{plain(100 * steady_within)} %: the size holds.",
        WEAKENING: f"{between}: all of it is a loss.",
        GAINING: f"{between}: all of it is a gain.",
        NOT_ENOUGH_YEARS: f"{between}: the winters so far allow a loss as well as a gain. More winters are needed.",
    }[judgement]


def percent(share: float) -> str:
    """Write a share as a percentage with its sign.

    Examples
    --------
    >>> percent(-0.1), percent(0.0312)
    ('−10 %', '+3.1 %')
    """
    number = round(100 * share, 1)
    return f"{'−' if number < 0 else '+'}{plain(abs(number))} %"
