"""Means of small samples drawn towards the mean of their farm and their program, beside the plain mean."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from balance.formulas.errors import OutOfRange
from balance.formulas.methods import MEMORY, Method
from balance.formulas.samples.variance_parts import (
    Numbers,
    between_variance,
    pooled_variance,
    share_of_chance,
    weighted_centre,
)

#: Fewer groups, or farms, than this say too little of how groups differ.
FEWEST_GROUPS: Final = 3
MOST_GROUPS: Final = 10_000
LARGEST_VALUE: Final = 1_000_000.0

METHOD: Final = Method(
    code="empirical-bayes-means",
    version=1,
    label="Means of small samples drawn towards the mean of alike blocks",
    expression="shrunken = (1 − B) × plain + B × ((1 − C) × farm + C × program); B = V ÷ (A + V), V = s² × (1/n − 1/N)",
    source="Efron & Morris 1975, J. Am. Stat. Assoc. 70:311-319; James & Stein 1961; variances by moments as in "
    "Searle, Casella & McCulloch 1992, Variance Components",
    mark=MEMORY,
    note="It lowers the squared error of all means together, not of each: a block that truly is unlike the others is "
    "drawn too far. With three groups very unlike each other it may cost a few per cent; with five or more, nothing.",
)
TOO_FEW_GROUPS: Final = (
    f"Fewer than {FEWEST_GROUPS} groups were weighed, which says too little of how groups differ: the plain mean "
    "stands."
)
NO_SPREAD: Final = "No group has two weights, so chance cannot be told from difference: the plain mean stands."
TOO_FEW_BLOCKS_A_FARM: Final = (
    "The farms have too few blocks each to tell a farm's own mean; every group is drawn towards the mean of all."
)
TOO_FEW_FARMS: Final = (
    f"Fewer than {FEWEST_GROUPS} farms say too little of how farms differ: no mean beyond the farm's."
)
CANNOT_BE_TOLD: Final = (
    "Two farms with too few blocks each: neither how blocks differ nor how farms differ can be told, and the plain "
    "mean stands."
)


@dataclass(frozen=True)
class Group:
    """What was weighed of one group, such as a block.

    Attributes
    ----------
    n : int
        Values, at least 1.
    mean, standard_deviation : float, float or None
        In one unit for all groups; the sample's standard deviation needs two values.
    population : int, optional
        How many there are in all; None: without end.
    farm : int
        Groups of one number belong together.
    """

    n: int
    mean: float
    standard_deviation: float | None
    population: int | None = None
    farm: int = 0


@dataclass(frozen=True)
class ShrunkenMean:
    """One mean, plain and shrunken, and what each level weighs in it: the three weights add up to 1.

    Attributes
    ----------
    plain, shrunken : float
    standard_error : float or None
        Of the plain mean, from the variance pooled over the groups; None where there is none.
    weight_of_plain, weight_of_farm, weight_of_program : float
    """

    plain: float
    shrunken: float
    standard_error: float | None
    weight_of_plain: float = 1.0
    weight_of_farm: float = 0.0
    weight_of_program: float = 0.0


@dataclass(frozen=True)
class Shrinkage:
    """All means, in the order of the groups, and what they were drawn towards.

    Attributes
    ----------
    means : tuple of ShrunkenMean
    within, between_groups, between_farms : float or None
        Variances: of single values, of the groups' true means in a farm, of the farms' true means; None: not told.
    farm_means : dict of int to float
        The mean of each farm, its groups weighted by how well they are known; empty where not used.
    program_mean : float or None
        The mean of the farms; None where not used.
    reasons : tuple of str
        Why a level was left out.
    """

    means: tuple[ShrunkenMean, ...]
    within: float | None = None
    between_groups: float | None = None
    between_farms: float | None = None
    farm_means: dict[int, float] | None = None
    program_mean: float | None = None
    reasons: tuple[str, ...] = ()


def shrink(groups: Sequence[Group]) -> Shrinkage:
    r"""Draw the means of groups towards the mean of their farm, and that towards the mean of all farms.

    Parameters
    ----------
    groups : sequence of Group
        Up to 10,000; all in one unit.

    Returns
    -------
    Shrinkage
        With fewer than three groups, the plain means and a reason.

    Raises
    ------
    OutOfRange
        A number is negative, too large or no number, or more was weighed than there is.

    Notes
    -----
    Block i of farm j: :math:`y_{ij} \sim N(\beta_{ij}, V_{ij})`, :math:`\beta_{ij} \sim N(\theta_j, A)`,
    :math:`\theta_j \sim N(\mu, T^2)`, with :math:`V = s^2 (1/n - 1/N)` from the pooled variance *s²*, so that a block
    of which every vine was weighed keeps its mean.  Given the variances, the best guess is

    .. math:: (1 - B)\,y + B\,[(1 - C)\,\hat\theta_j + C\,\hat\mu],
        \quad B = \frac{V}{A + V}, \; C = \frac{U_j}{T^2 + U_j}

    with :math:`\hat\theta_j` the mean of the farm's blocks by weights :math:`1/(A + V)` and U its variance.  A and T²
    are moment estimates, unbiased and then cut off at zero.

    References
    ----------
    Efron & Morris 1975, J. Am. Stat. Assoc. 70:311-319 (from memory).

    Examples
    --------
    >>> blocks = [Group(4, 1.0, 0.4), Group(40, 1.2, 0.4), Group(40, 1.4, 0.4), Group(4, 1.9, 0.4)]
    >>> [(round(each.shrunken, 2), round(each.weight_of_plain, 2)) for each in shrink(blocks).means]
    [(1.17, 0.51), (1.21, 0.91), (1.4, 0.91), (1.63, 0.51)]
    """
    if len(groups) > MOST_GROUPS:
        raise OutOfRange("the number of groups", len(groups), 0, MOST_GROUPS)
    for group in groups:
        _refuse_impossible(group)
    counts = np.array([group.n for group in groups], dtype=np.float64)
    spreads = np.array([_number(group.standard_deviation) for group in groups], dtype=np.float64)
    within = pooled_variance(counts, spreads)
    if within is None or len(groups) < FEWEST_GROUPS:
        reason = TOO_FEW_GROUPS if len(groups) < FEWEST_GROUPS else NO_SPREAD
        return _plain(groups, within, reason)
    shares = np.array([_share(group) for group in groups])
    farms = np.unique([group.farm for group in groups], return_inverse=True)[1].astype(np.intp)
    weighed = _Weighed(groups, np.array([group.mean for group in groups]), within * shares, counts, farms, within)
    if len(groups) - weighed.number_of_farms >= FEWEST_GROUPS - 1:
        return _towards_farms(weighed)
    return _towards_all(weighed) if weighed.number_of_farms >= FEWEST_GROUPS else _plain(groups, within, CANNOT_BE_TOLD)


@dataclass(frozen=True)
class _Weighed:
    """The groups column by column; ``farms`` numbers their farms from 0 without gaps."""

    groups: Sequence[Group]
    means: Numbers
    variances: Numbers
    counts: Numbers
    farms: NDArray[np.intp]
    within: float

    @property
    def number_of_farms(self) -> int:
        return int(self.farms.max()) + 1

    def with_weights(self, to_farm: Numbers, to_program: Numbers, towards: Numbers) -> tuple[ShrunkenMean, ...]:
        """Give each mean; ``towards`` is what the two upper levels add to it."""
        kept = 1 - to_farm - to_program
        columns = (self.means, kept * self.means + towards, np.sqrt(self.variances), kept, to_farm, to_program)
        return tuple(ShrunkenMean(*row) for row in zip(*(column.tolist() for column in columns), strict=True))


def _towards_all(weighed: _Weighed) -> Shrinkage:
    """Draw every group towards the mean of all, whichever its farm."""
    as_one, nothing = np.zeros_like(weighed.farms), np.zeros_like(weighed.means)
    between = between_variance(weighed.means, weighed.variances, weighed.counts, as_one)
    centre = float(weighted_centre(weighed.means, weighed.variances + between, as_one)[0][0])
    chance = share_of_chance(weighed.variances, between)
    means = weighed.with_weights(nothing, chance, chance * centre)
    return Shrinkage(means, weighed.within, between, None, None, centre, (TOO_FEW_BLOCKS_A_FARM,))


def _towards_farms(weighed: _Weighed) -> Shrinkage:
    """Draw every group towards its farm's mean and, where there are farms enough, that towards the mean of farms."""
    farms, number = weighed.farms, weighed.number_of_farms
    between = between_variance(weighed.means, weighed.variances, weighed.counts, farms)
    chance = share_of_chance(weighed.variances, between)
    centres, unsure = weighted_centre(weighed.means, weighed.variances + between, farms)
    named = {group.farm: float(centres[farm]) for farm, group in zip(farms, weighed.groups, strict=True)}
    if number < FEWEST_GROUPS:
        means = weighed.with_weights(chance, np.zeros_like(chance), chance * centres[farms])
        return Shrinkage(means, weighed.within, between, None, named, None, (TOO_FEW_FARMS,) if number > 1 else ())
    as_one = np.zeros(number, dtype=np.intp)
    between_farms = between_variance(centres, unsure, np.ones(number), as_one)
    program = float(weighted_centre(centres, unsure + between_farms, as_one)[0][0])
    to_program = chance * share_of_chance(unsure, between_farms)[farms]
    to_farm = chance - to_program
    means = weighed.with_weights(to_farm, to_program, to_farm * centres[farms] + to_program * program)
    return Shrinkage(means, weighed.within, between, between_farms, named, program)


def _plain(groups: Sequence[Group], within: float | None, reason: str) -> Shrinkage:
    means = tuple(ShrunkenMean(group.mean, group.mean, _standard_error(group, within)) for group in groups)
    return Shrinkage(means, within=within, reasons=(reason,))


def _standard_error(group: Group, within: float | None) -> float | None:
    return None if within is None else math.sqrt(within * _share(group))


def _share(group: Group) -> float:
    """Give what the variance of single values is divided by for that of the mean, as 1/n − 1/N."""
    return 1 / group.n - (1 / group.population if group.population else 0)


def _number(value: float | None) -> float:
    return math.nan if value is None else value


def _refuse_impossible(group: Group) -> None:
    most = group.population or MOST_GROUPS**2
    if not 1 <= group.n <= most:
        raise OutOfRange("the number of values of a group", group.n, 1, most)
    for quantity, value in (("the mean", group.mean), ("the standard deviation", group.standard_deviation or 0.0)):
        if not 0 <= value <= LARGEST_VALUE:
            raise OutOfRange(f"{quantity} of a group", value, 0, LARGEST_VALUE)
