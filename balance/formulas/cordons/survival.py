"""How many live how long: Kaplan and Meier's survival of many groups at once, with Greenwood's variance."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Final

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import ndtri

from balance.formulas.cordons.risk_sets import RiskSets, risk_sets
from balance.formulas.errors import OutOfRange
from balance.formulas.methods import MEMORY, Method

LOG_LOG: Final = "log_log"
PLAIN: Final = "plain"
INTERVALS: Final = (LOG_LOG, PLAIN)

METHOD: Final = Method(
    code="kaplan_meier",
    version=1,
    label="Kaplan-Meier survival with Greenwood's variance",
    expression="S(t) = Π (1 - d / n); var S(t) = S(t)² Σ d / (n (n - d)); interval: S(t) ^ exp(± z · s / ln S(t))",
    source="Kaplan & Meier 1958, J. Am. Stat. Assoc. 53:457-481; Greenwood 1926, Reports on Public Health and Medical "
    "Subjects 33; Kalbfleisch & Prentice 2002, The Statistical Analysis of Failure Time Data, for the log-log interval",
    mark=MEMORY,
    note="d ends among the n at risk in each year; s² is Greenwood's sum. Censored on the right, entered late on the "
    "left. The formula is checked against an independent library; the references are from memory.",
)
#: Of a product of shares that is meant to be a half.
_NOISE: Final = 1e-9


@dataclass(frozen=True, eq=False)
class Survival:
    """A table of survival for each group: one row a group and time at which somebody left, in this order.

    Attributes
    ----------
    sets : RiskSets
        Group, time, at risk, events and censored of each row, and where each group's rows begin.
    survival : NDArray[np.float64]
        Share that lives beyond the time.
    variance : NDArray[np.float64]
        Greenwood's variance of it; NaN where survival is 0, since its sum has no value there.
    low, high : NDArray[np.float64]
        Its interval; NaN where survival is 1 or 0, since Greenwood's variance says nothing there.
    """

    sets: RiskSets
    survival: NDArray[np.float64]
    variance: NDArray[np.float64]
    low: NDArray[np.float64]
    high: NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Medians:
    """The median of each group and its interval, in the unit of the times; NaN where it is not reached."""

    median: NDArray[np.float64]
    low: NDArray[np.float64]
    high: NDArray[np.float64]


def kaplan_meier(
    durations: ArrayLike,
    events: ArrayLike,
    *,
    entry: ArrayLike | None = None,
    groups: ArrayLike | None = None,
    count: int | None = None,
    confidence: float = 0.95,
    interval: str = LOG_LOG,
) -> Survival:
    """Give the survival of each group.

    Parameters
    ----------
    durations : array_like, shape (n,)
        When each left: at its event, or when it was last seen; any unit, finite.
    events : array_like of bool, shape (n,)
        Whether it left by the event; else it is censored on the right.
    entry : array_like, shape (n,), optional
        The time after which each is at risk (delayed entry); it must lie before its duration. Without it, all are at
        risk from the beginning, and at time zero too.
    groups : array_like of int, shape (n,), optional
        Each one's group, from 0; without it, all are one group.
    count : int, optional
        How many groups there are; without it, up to the greatest that is named.
    confidence : float
        Of the interval, between 0 and 1.
    interval : {"log_log", "plain"}
        ``log_log`` never leaves 0 to 1; ``plain`` is S ± z times the standard error, cut off at 0 and 1.

    Returns
    -------
    Survival

    Raises
    ------
    OutOfRange
        A time is not finite, one enters when or after it leaves, a group lies outside, or the confidence does.
    ValueError
        The interval is not one of those above, or lengths differ.

    Notes
    -----
    S(t) = Π (1 - d/n) over the times up to t, with d events among the n at risk; var S(t) = S(t)² Σ d / (n (n - d))
    (Greenwood). log-log: S(t) ^ exp(± z s / ln S(t)) with s² = Σ d / (n (n - d)). Those censored at t are at risk at
    t; those who enter at t are not. Once S is 0 it stays 0.

    References
    ----------
    Kaplan & Meier 1958, J. Am. Stat. Assoc. 53:457-481 (from memory). Greenwood 1926, The natural duration of cancer,
    Reports on Public Health and Medical Subjects 33 (from memory). Kalbfleisch & Prentice 2002, The Statistical
    Analysis of Failure Time Data, 2nd ed., section 1.4 (from memory).

    Examples
    --------
    >>> table = kaplan_meier([6, 6, 6, 6, 7, 9], [1, 1, 1, 0, 1, 0])
    >>> table.sets.at_risk.tolist(), table.survival.round(3).tolist()
    ([6, 2, 1], [0.5, 0.25, 0.25])
    """
    if not 0 < confidence < 1:
        raise OutOfRange("confidence", confidence, 0, 1)
    if interval not in INTERVALS:
        raise ValueError(f"there is no interval {interval!r}; there are {', '.join(INTERVALS)}")
    sets = risk_sets(durations, events, entry=entry, groups=groups, count=count)
    survival, greenwood = _estimates(sets)
    variance = np.where(survival > 0, survival**2 * greenwood, np.nan)
    half = float(ndtri(0.5 + confidence / 2))
    low, high = _log_log(survival, greenwood, half) if interval == LOG_LOG else _plain(survival, variance, half)
    return Survival(sets, survival, variance, low, high)


def medians(table: Survival) -> Medians:
    """Give the median of each group: the first time at which survival is a half or less.

    Parameters
    ----------
    table : Survival

    Returns
    -------
    Medians
        One value a group; NaN where survival, or the limit of its interval, stays above a half.

    Notes
    -----
    The interval of the median is where that of survival holds a half (Brookmeyer & Crowley).

    References
    ----------
    Brookmeyer & Crowley 1982, A confidence interval for the median survival time, Biometrics 38:29-41 (from memory).

    Examples
    --------
    >>> medians(kaplan_meier([1, 2, 3, 4], [1, 1, 1, 0])).median.tolist()
    [2.0]
    """
    return Medians(*(_first_at_a_half(table.sets, each) for each in (table.survival, table.low, table.high)))


def _estimates(sets: RiskSets) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Give survival and the sum of Greenwood's formula, group by group in one go."""
    left = sets.at_risk - sets.events
    ended = (left == 0) & (sets.events > 0)
    at_risk = np.where(sets.events > 0, sets.at_risk, 1).astype(np.float64)
    kept = np.where(ended | (sets.events == 0), 1, left)
    survival = np.exp(_summed(np.where(sets.events > 0, np.log(kept / at_risk) * ~ended, 0.0), sets))
    greenwood = _summed(np.where(sets.events > 0, sets.events / (at_risk * kept) * ~ended, 0.0), sets)
    none_yet = _counted(sets.events, sets) == 0
    survival[none_yet], greenwood[none_yet] = 1.0, 0.0
    survival[_counted(ended, sets) > 0] = 0.0
    return survival, greenwood


def _summed(terms: NDArray[np.float64], sets: RiskSets) -> NDArray[np.float64]:
    """Give running sums that begin anew in each group.

    Each group's first term takes off what the groups before it summed to, so that the sum never grows with the
    number of groups and loses no digits.
    """
    if not len(terms):
        return terms
    begins = sets.begins[:-1][np.diff(sets.begins) > 0]
    totals = np.add.reduceat(terms, begins)
    terms = terms.copy()
    terms[begins[1:]] -= totals[:-1]
    return np.cumsum(terms)


def _counted(terms: NDArray[Any], sets: RiskSets) -> NDArray[np.int64]:
    """Give running counts that begin anew in each group, exactly."""
    running = np.concatenate([[0], np.cumsum(terms, dtype=np.int64)])
    counted: NDArray[np.int64] = running[1:] - running[sets.begins[sets.groups]]
    return counted


def _log_log(
    survival: NDArray[np.float64], greenwood: NDArray[np.float64], half: float
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    inside = (survival > 0) & (survival < 1)
    log = np.log(np.where(inside, survival, 0.5))
    power = np.exp(half * np.sqrt(greenwood) / -log)
    low, high = (np.where(inside, np.exp(log * each), np.nan) for each in (power, 1 / power))
    return low, high


def _plain(
    survival: NDArray[np.float64], variance: NDArray[np.float64], half: float
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    inside = (survival > 0) & (survival < 1)
    reach = np.where(inside, half * np.sqrt(variance), np.nan)
    return np.clip(survival - reach, 0, 1), np.clip(survival + reach, 0, 1)


def _first_at_a_half(sets: RiskSets, shares: NDArray[np.float64]) -> NDArray[np.float64]:
    reached = np.flatnonzero(shares <= 0.5 + _NOISE)[::-1]
    times = np.full(len(sets.begins) - 1, np.nan)
    times[sets.groups[reached]] = sets.times[reached]  # written backwards: the first one stays
    return times
