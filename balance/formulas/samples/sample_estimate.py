"""What the weights of a sample say of the whole block: the mean, how far off it may be, and whether that is enough."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

from numpy.typing import ArrayLike

from balance.formulas.errors import OutOfRange
from balance.formulas.methods import MEMORY, Method
from balance.formulas.samples.sample_size import LARGEST_VARIATION, quantile_of, vines_needed
from balance.formulas.statistics import summarise

METHOD: Final = Method(
    code="mean-of-a-sample",
    version=1,
    label="Mean of a block from weighed vines, with its interval",
    expression="mean ± t × s × √(1/n − 1/N), t of Student with n − 1 degrees of freedom",
    source="Cochran 1977, Sampling Techniques, 3rd ed., chapter 2",
    mark=MEMORY,
    note="It holds for vines drawn at random. A systematic sample is treated as a random one: its own variance cannot "
    "be had from one start. Vines picked by eye have no interval.",
)
AT_RANDOM: Final = (
    "The interval holds for vines drawn at random. After a systematic draw the formula treats them as random, which on "
    "open field data was about right or a little too wide; for vines picked by eye it means nothing."
)
ROUGH: Final = "The spread of so few weights is rough: weigh what is still needed, and ask again."
FEW: Final = "Fewer than two vines were weighed; a spread, and so an interval, needs two."
NO_MEAN: Final = "The mean is zero, so an error in % of it says nothing."
TOO_UNEVEN: Final = (
    f"The weights vary by more than {LARGEST_VARIATION:g} %. Look for a slip of units among them before you plan on."
)


@dataclass(frozen=True)
class MeanEstimate:
    """The mean of a block as a sample tells it; None where there are too few weights.

    Attributes
    ----------
    n, population : int
        Vines weighed, and vines of the block [vines].
    mean, standard_deviation, standard_error, half_width, low, high : float or None
        In the unit of the values; the interval is mean ± half_width.
    variation, error : float or None
        Coefficient of variation, and half the interval [% of the mean].
    """

    n: int
    population: int
    mean: float | None
    standard_deviation: float | None = None
    standard_error: float | None = None
    half_width: float | None = None
    low: float | None = None
    high: float | None = None
    variation: float | None = None
    error: float | None = None


def estimate_mean(values: ArrayLike, confidence: float, population: int) -> MeanEstimate:
    r"""Estimate the mean of a block from the vines that were weighed.

    Parameters
    ----------
    values : array_like of float, shape (n,)
        Any unit; NaN means not measured, zero is a value.
    confidence : float
        Confidence level, 50 to 99.9 [%].
    population : int
        Vines of the block, at least as many as were measured [vines].

    Returns
    -------
    MeanEstimate
        An interval takes two weights; where every vine was weighed it has no width.

    Raises
    ------
    OutOfRange
        More vines were weighed than the block has.

    Notes
    -----
    .. math:: \bar x \pm t_{n-1}\, s \sqrt{\frac{1}{n} - \frac{1}{N}}

    The vines are taken to be drawn at random.

    References
    ----------
    Cochran 1977, Sampling Techniques, 3rd ed., chapter 2 (from memory).

    Examples
    --------
    >>> told = estimate_mean([2.0, 3.0, 4.0], 95, 12)
    >>> told.mean, round(told.half_width, 3), round(told.error, 1)
    (3.0, 2.151, 71.7)
    """
    summary = summarise(values)
    n, mean, deviation = summary.n, summary.mean, summary.standard_deviation
    if n > population:
        raise OutOfRange("the number of vines weighed", n, 0, population)
    if mean is None or (deviation is None and n < population):
        return MeanEstimate(n, population, mean)
    beyond = math.sqrt(1 / n - 1 / population)
    error = (deviation or 0.0) * beyond
    half = error * quantile_of(n, confidence) if n > 1 else 0.0
    return MeanEstimate(
        n=n,
        population=population,
        mean=mean,
        standard_deviation=deviation,
        standard_error=error,
        half_width=half,
        low=mean - half,
        high=mean + half,
        variation=summary.coefficient_of_variation,
        error=100 * half / mean if mean > 0 else None,
    )


@dataclass(frozen=True)
class Progress:
    """Whether the vines weighed are enough; None and a reason where that cannot be said.

    Attributes
    ----------
    enough : bool or None
        The interval is as narrow as wanted.
    needed, more : int or None
        Vines to weigh in all, and beyond those weighed [vines].
    reason : str or None
        Why nothing can be said.
    """

    enough: bool | None
    needed: int | None
    more: int | None
    reason: str | None = None


def progress_of(estimate: MeanEstimate, error: float, confidence: float, planned_variation: float) -> Progress:
    """Say whether the vines weighed are enough for the wanted error, and how many more it takes.

    Parameters
    ----------
    estimate : MeanEstimate
        Of the vines weighed so far.
    error : float
        Wanted error, 0.1 to 100 [% of the mean].
    confidence : float
        Confidence level of the estimate, 50 to 99.9 [%].
    planned_variation : float
        Coefficient of variation that answers while fewer than two vines are weighed [%].

    Returns
    -------
    Progress
        From the sample's own spread; that of few weights is rough, so ask again when more are weighed.

    Examples
    --------
    >>> progress_of(estimate_mean([2.0, 3.0, 4.0, 3.5], 95, 100), 10, 95, 35)
    Progress(enough=False, needed=25, more=21, reason=None)
    """
    if estimate.population == 0:
        return Progress(None, None, None, "No vine of the block stands, so there is nothing to weigh.")
    if estimate.n == estimate.population:
        return Progress(True, estimate.n, 0)
    if estimate.n > 1 and estimate.variation is None:
        return Progress(None, None, None, NO_MEAN)
    variation = planned_variation if estimate.variation is None else estimate.variation
    if variation > LARGEST_VARIATION:
        return Progress(None, None, None, TOO_UNEVEN)
    needed = vines_needed(error, confidence, variation, estimate.population).vines
    return Progress(estimate.n >= needed, needed, max(0, needed - estimate.n))
