"""The mean and the standard deviation of several groups together, from those of each; exact, without the values."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Final

from balance.formulas.errors import OutOfRange
from balance.formulas.methods import COMPUTED, Method

METHOD: Final = Method(
    code="pooled_weights",
    version=1,
    label="mean and standard deviation of many blocks together",
    expression="mean = sum of n × mean ÷ sum of n; variance = (squares within the blocks + between them) ÷ (n − 1)",
    source="Arithmetic: as if computed from all weights at once",
    mark=COMPUTED,
    note="Quantiles do not follow from those of the blocks: over several they come from added bins, with their limits.",
)


@dataclass(frozen=True)
class Group:
    """What is known of one group of values.

    Attributes
    ----------
    n : int
        How many values, 0 or more.
    mean : float or None
        None only where there are none.
    deviation : float or None
        Sample standard deviation (divisor n − 1); None where there are fewer than two.
    """

    n: int
    mean: float | None
    deviation: float | None


def pooled(groups: Iterable[Group]) -> Group:
    r"""Give the number, mean and standard deviation of all values of several groups together.

    Parameters
    ----------
    groups : iterable of Group
        All in one unit; empty groups count for nothing.

    Returns
    -------
    Group
        As if computed from the values themselves.

    Raises
    ------
    OutOfRange
        A number is negative, or a group of values has no finite mean, or no deviation where it has two or more.

    Notes
    -----
    .. math:: \bar x = \frac{\sum n_i \bar x_i}{\sum n_i}, \qquad
              s^2 = \frac{\sum (n_i - 1) s_i^2 + \sum n_i (\bar x_i - \bar x)^2}{\sum n_i - 1}

    The sum of squares about the mean of all is that within the groups plus that between them, so nothing is left out
    and nothing is assumed: the groups may differ in mean and in spread.

    References
    ----------
    The decomposition of a sum of squares is arithmetic; Chan, Golub & LeVeque 1983, The American Statistician
    37:242-247 give it for computing (from memory).

    Examples
    --------
    >>> together = pooled([Group(2, 1.5, 0.5**0.5), Group(1, 3.0, None)])  # 1 and 2; 3
    >>> together.n, together.mean, round(together.deviation, 12)
    (3, 2.0, 1.0)
    >>> pooled([])
    Group(n=0, mean=None, deviation=None)
    """
    known = [_checked(group) for group in groups if group.n]
    n = sum(each.n for each in known)
    if not n:
        return Group(0, None, None)
    mean = math.fsum(each.n * (each.mean or 0.0) for each in known) / n
    if n == 1:
        return Group(1, mean, None)
    within = math.fsum((each.n - 1) * (each.deviation or 0.0) ** 2 for each in known)
    between = math.fsum(each.n * ((each.mean or 0.0) - mean) ** 2 for each in known)
    return Group(n, mean, math.sqrt((within + between) / (n - 1)))


def _checked(group: Group) -> Group:
    if group.n < 0:
        raise OutOfRange("the number of values", group.n, 0, math.inf)
    if group.mean is None or not math.isfinite(group.mean):
        raise OutOfRange("the mean of a group", group.mean, -math.inf, math.inf)
    spread = group.deviation
    if group.n > 1 and (spread is None or not 0 <= spread < math.inf):
        raise OutOfRange("the standard deviation of a group", spread, 0, math.inf)
    return group
