"""Whether a mean has changed from one winter to the next by more than the samples' own chance."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

from scipy import special

from balance.formulas.errors import OutOfRange
from balance.formulas.methods import MEMORY, Method

METHOD: Final = Method(
    code="change-of-a-mean",
    version=1,
    label="Change of a mean between two samples, with its interval",
    expression="after − before ± t × √(s₁²(1/n₁ − 1/N₁) + s₂²(1/n₂ − 1/N₂)), t of Student by Welch and Satterthwaite",
    source="Welch 1947, Biometrika 34:28-35; finite correction by Cochran 1977, Sampling Techniques, chapter 2",
    mark=MEMORY,
    note="The two samples are taken as drawn apart. Where the same vines were weighed both times it is too wide, so it "
    "calls fewer changes real than there are.",
)
#: A billionth of a weight means nothing; rounding there makes pounds and kilograms agree.
_DIGITS: Final = 9


@dataclass(frozen=True)
class Sample:
    """What was measured once: how many of how many, their mean and standard deviation (None for one value)."""

    n: int
    population: int
    mean: float
    standard_deviation: float | None


@dataclass(frozen=True)
class MeanChange:
    """The change of a mean and the ends of its interval, in the unit of the means.

    ``low`` and ``high`` are None where a sample has no spread of its own.
    """

    change: float
    low: float | None
    high: float | None

    @property
    def beyond_chance(self) -> bool | None:
        """Whether the interval leaves zero out; None where there is no interval."""
        if self.low is None or self.high is None:
            return None
        return self.low > 0 or self.high < 0


def mean_change(before: Sample, after: Sample, confidence: float = 95) -> MeanChange:
    r"""Give the change of a mean between two samples with its interval.

    Parameters
    ----------
    before, after : Sample
        In one unit.
    confidence : float
        50 to 99.9 [%].

    Returns
    -------
    MeanChange

    Raises
    ------
    OutOfRange
        A sample is empty or larger than what it was drawn from, or the confidence lies outside its range.

    Notes
    -----
    With :math:`v_i = s_i^2 (1/n_i - 1/N_i)`,

    .. math:: \bar x_2 - \bar x_1 \pm t_\nu \sqrt{v_1 + v_2}, \qquad
              \nu = \frac{(v_1 + v_2)^2}{v_1^2/(n_1 - 1) + v_2^2/(n_2 - 1)}

    Where everything was measured both times the interval has no width.

    References
    ----------
    Welch 1947, Biometrika 34:28-35 (from memory); held to scipy in the tests.

    Examples
    --------
    >>> told = mean_change(Sample(20, 300, 1.2, 0.3), Sample(20, 300, 1.5, 0.3))
    >>> round(told.low, 3), round(told.high, 3), told.beyond_chance
    (0.114, 0.486, True)
    """
    if not 50 <= confidence <= 99.9:
        raise OutOfRange("the confidence [%]", confidence, 50, 99.9)
    variances = [_variance(each) for each in (before, after)]
    change = _rounded(after.mean - before.mean)
    if any(each is None for each in variances):
        return MeanChange(change, None, None)
    first, second = (each or 0.0 for each in variances)
    together = first + second
    if together == 0:
        return MeanChange(change, change, change)
    freedom = together**2 / sum(
        each**2 / (sample.n - 1) for each, sample in ((first, before), (second, after)) if each > 0
    )
    half = float(special.stdtrit(freedom, 0.5 + confidence / 200)) * math.sqrt(together)
    return MeanChange(change, _rounded(change - half), _rounded(change + half))


def _variance(sample: Sample) -> float | None:
    if not 1 <= sample.n <= sample.population:
        raise OutOfRange("the number measured", sample.n, 1, sample.population)
    if sample.n == sample.population:
        return 0.0
    if sample.standard_deviation is None:
        return None
    return sample.standard_deviation**2 * (1 / sample.n - 1 / sample.population)


def _rounded(number: float) -> float:
    return float(f"{number:.{_DIGITS}g}")
