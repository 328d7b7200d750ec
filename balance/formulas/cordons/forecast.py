"""How many cordons will have to be replaced in each of the next winters, with an interval that holds what it says."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final, TypeVar

import numpy as np
from numpy.typing import ArrayLike, NDArray

from balance.formulas.cordons.age_hazards import MOST_AGE, AgeHazards, counts_by_age, hazards_by_age
from balance.formulas.errors import OutOfRange
from balance.formulas.methods import COMPUTED, Method

_Number = TypeVar("_Number", np.int64, np.float64)

MOST_WINTERS: Final = 10
#: Confidence of the interval [%].
CONFIDENCES: Final = (50.0, 99.0)
USUAL_CONFIDENCE: Final = 90.0
#: The seed of the draws: the same question gives the same answer.
SEED: Final = 20_231
DRAWS: Final = 4_000

FORECAST: Final = Method(
    code="cordon-replacements",
    version=1,
    label="Replacements expected, from the hazard by age",
    expression="each winter: cordons standing at each age × their hazard; what fails comes back at age 0",
    source="Discrete-time hazards with a hierarchical beta-binomial model, drawn forward. Singer and Willett, Applied "
    "Longitudinal Data Analysis (2003); Gelman et al., Bayesian Data Analysis, section 5.3 (both from memory)",
    mark=COMPUTED,
    note="Every cordon that fails is taken as replaced in the same winter. The interval holds chance and how well the "
    "hazards are known, not a winter unlike those on record.",
)
NOTHING_FOLLOWED: Final = (
    "No cordon was followed from one season to the next, so nothing tells how often they fail. Inspect the same "
    "cordons in two seasons or more."
)
NOTHING_STANDS: Final = "No cordon that was followed stands now, so there is nothing to foresee."


@dataclass(frozen=True)
class Expected:
    """What is expected of one winter, or of all winters up to it [cordons].

    Attributes
    ----------
    winter : int
        1: the next one.
    mean : float
        Expected number.
    low, high : int
        The fewest whole numbers in a row that hold the wanted share of the draws.
    """

    winter: int
    mean: float
    low: int
    high: int


@dataclass(frozen=True, eq=False)
class Outlook:
    """The outlook of some cordons over the next winters; without history a reason and no number.

    Attributes
    ----------
    by_winter, up_to : tuple of Expected
        Of each winter by itself, and of all winters up to it.
    hazards : AgeHazards or None
    standing : ndarray of int, shape (ages,)
        Cordons by age now.
    reason : str or None
        Why there is no number.
    """

    by_winter: tuple[Expected, ...]
    up_to: tuple[Expected, ...]
    hazards: AgeHazards | None
    standing: NDArray[np.int64]
    reason: str | None


def replacements_ahead(
    standing: ArrayLike,
    exposure: ArrayLike,
    failures: ArrayLike,
    *,
    winters: int = 5,
    confidence: float = USUAL_CONFIDENCE,
    draws: int = DRAWS,
    seed: int = SEED,
) -> Outlook:
    r"""Foresee how many cordons fail, and are to be replaced, in each of the next winters.

    Parameters
    ----------
    standing : array_like of int, shape (m,)
        At index a: cordons that go into the next winter a whole years old.
    exposure, failures : array_like of int, shape (n,)
        The history at each age: see ``hazards_by_age``.
    winters : int
        How far ahead, 1 to ``MOST_WINTERS``.
    confidence : float
        Of the interval [%], within ``CONFIDENCES``.
    draws, seed : int
        Of the draws; 100 to 20,000 of them.

    Returns
    -------
    Outlook
        ``reason`` says why there is no number.

    Raises
    ------
    OutOfRange

    Notes
    -----
    Each draw is one possible truth of the hazards.  In it the cordons of each age fail by chance (binomial), those
    that stood grow a year older, and those that failed come back at age 0, where they may fail again; so the winters
    hang together.  The mean is the expected number under the same hazards, :math:`E[\sum_a N_a h_a]`, without the
    noise of chance.  The interval is the shortest run of whole numbers that holds the wanted share of the draws; for
    small numbers it holds somewhat more, because whole numbers cannot be split.  Ages beyond ``MOST_AGE`` count as
    that age.

    References
    ----------
    See ``FORECAST`` and ``age_hazards``.  Intervals for what is yet to be seen: Gelman et al., Bayesian Data Analysis,
    section 1.3, posterior predictive distribution (from memory).

    Examples
    --------
    Invented: 1,000 cordons five years old, of a kind of which 20 in 1,000 failed a winter.

    >>> outlook = replacements_ahead([0] * 5 + [1000], [1000] * 6, [20] * 6, winters=2)
    >>> [bool(15 < each.mean < 25) for each in outlook.by_winter], outlook.reason
    ([True, True], None)
    >>> replacements_ahead([5], [0], [0]).by_winter
    ()
    """
    if not 1 <= winters <= MOST_WINTERS:
        raise OutOfRange("winters", winters, 1, MOST_WINTERS)
    if not CONFIDENCES[0] <= confidence <= CONFIDENCES[1]:
        raise OutOfRange("confidence", confidence, *CONFIDENCES)
    if not 100 <= draws <= 20_000:
        raise OutOfRange("draws", draws, 100, 20_000)
    now = counts_by_age("standing", standing)
    oldest = int(np.max(np.flatnonzero(now), initial=0))
    ages = min(oldest + winters, MOST_AGE + 1)
    now = np.pad(now, (0, max(ages - now.size, 0)))[: max(ages, oldest + 1)]
    generator = np.random.default_rng(seed)
    hazards = hazards_by_age(exposure, failures, now.size, draws=draws, generator=generator)
    if hazards is None:
        return Outlook((), (), None, now, NOTHING_FOLLOWED)
    if not now.sum():
        return Outlook((), (), hazards, now, NOTHING_STANDS)
    drawn, expected = _drawn_forward(now, hazards.draws, winters, generator), _expected(now, hazards.draws, winters)
    share = confidence / 100
    return Outlook(
        _told(drawn, expected, share), _told(drawn.cumsum(axis=0), expected.cumsum(), share), hazards, now, None
    )


def _drawn_forward(
    now: NDArray[np.int64], hazards: NDArray[np.float64], winters: int, generator: np.random.Generator
) -> NDArray[np.int64]:
    """Let chance decide winter by winter; failures of each winter (first axis) in each draw."""
    cordons = np.broadcast_to(now, hazards.shape)
    failures = np.empty((winters, len(hazards)), dtype=np.int64)
    for winter in range(winters):
        failed = generator.binomial(cordons, hazards)
        failures[winter] = failed.sum(axis=1)
        cordons = _older(cordons - failed, failures[winter])
    return failures


def _expected(now: NDArray[np.int64], hazards: NDArray[np.float64], winters: int) -> NDArray[np.float64]:
    """Give the expected failures of each winter, over all draws of the hazards."""
    cordons = np.broadcast_to(now.astype(np.float64), hazards.shape)
    means = np.empty(winters)
    for winter in range(winters):
        failed = cordons * hazards
        total = failed.sum(axis=1)
        means[winter] = total.mean()
        cordons = _older(cordons - failed, total)
    return means


def _older(stood: NDArray[_Number], replaced: NDArray[_Number]) -> NDArray[_Number]:
    """Let a year go by: what stood is a year older, what was replaced begins anew."""
    older = np.empty_like(stood)
    older[:, 0] = replaced
    older[:, 1:] = stood[:, :-1]
    older[:, -1] += stood[:, -1]
    return older


def _told(drawn: NDArray[np.int64], means: NDArray[np.float64], share: float) -> tuple[Expected, ...]:
    return tuple(
        Expected(winter, float(mean), *shortest_interval(row, share))
        for winter, (row, mean) in enumerate(zip(drawn, means, strict=True), start=1)
    )


def shortest_interval(drawn: ArrayLike, share: float) -> tuple[int, int]:
    """Give the fewest whole numbers in a row that hold a share of the draws.

    Parameters
    ----------
    drawn : array_like of int, shape (n,)
        At least one.
    share : float
        Above 0, at most 1.

    Returns
    -------
    low, high : int
        Both inside.  Of several runs of one length, the one that holds most; of these the lowest.

    Examples
    --------
    >>> shortest_interval([0, 0, 0, 0, 0, 0, 1, 1, 1, 4], 0.9)
    (0, 1)
    """
    ordered = np.sort(np.asarray(drawn, dtype=np.int64))
    held = min(max(int(np.ceil(share * ordered.size - 1e-9)), 1), ordered.size)
    low, high = ordered[: ordered.size - held + 1], ordered[held - 1 :]
    width = high - low
    narrow = np.flatnonzero(width == width.min())
    holds = np.searchsorted(ordered, high[narrow], side="right") - np.searchsorted(ordered, low[narrow], side="left")
    best = narrow[int(np.argmax(holds))]
    return int(low[best]), int(high[best])
