"""Quantiles of values of which only bins are known: where they lie for certain, and where between about."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from balance.formulas.errors import OutOfRange


@dataclass(frozen=True)
class BinnedQuantile:
    """One quantile of binned values.

    Attributes
    ----------
    share : float
        0 to 1.
    value : float or None
        By a straight line through the bin [unit of the width]; None in the last bin where that has no end.
    low, high : float or None
        Where the exact quantile lies for certain; ``high`` is None where the last bin has no end.
    """

    share: float
    value: float | None
    low: float
    high: float | None


def added(many: Iterable[Sequence[int]], number: int) -> list[int]:
    """Add the counts of several groups bin by bin.

    Parameters
    ----------
    many : iterable of sequence of int
        Of each group its counts, all of the same bins.
    number : int
        How many bins there are, so that no group at all is zero in each.

    Returns
    -------
    list of int

    Raises
    ------
    OutOfRange
        A group has another number of bins.

    Examples
    --------
    >>> added([[1, 0, 2], [0, 3, 0]], 3), added([], 2)
    ([1, 3, 2], [0, 0])
    """
    total = np.zeros(number, dtype=np.int64)
    for counts in many:
        if len(counts) != number:
            raise OutOfRange("the number of bins", len(counts), number, number)
        total += np.asarray(counts, dtype=np.int64)
    return [int(each) for each in total]


def quantiles_of_bins(
    counts: Sequence[int],
    width: float,
    shares: Iterable[float],
    *,
    least: float | None = None,
    most: float | None = None,
) -> list[BinnedQuantile]:
    r"""Give quantiles of values that were counted in bins of equal width from zero on.

    Parameters
    ----------
    counts : sequence of int
        Of each bin; bin i takes :math:`[i w, (i + 1) w)`, the last one everything from its beginning on.
    width : float
        Of a bin, above zero.
    shares : iterable of float
        0 to 1.
    least, most : float, optional
        The smallest and the largest value, where they are known: no quantile lies beyond, and the last bin ends there.

    Returns
    -------
    list of BinnedQuantile
        Empty where nothing was counted.

    Raises
    ------
    OutOfRange
        A width, count or share is out of its range.

    Notes
    -----
    The exact quantile, by the rule of numpy's ``linear``, lies between the value of rank
    :math:`\lfloor q (n - 1) \rfloor` and the next one (ranks from zero), so between the beginning of the bin of the
    first and the end of the bin of the second. ``value`` puts each rank k of a bin that holds ranks a to a + c − 1 at
    :math:`(k - a + 1/2) / c` of its width.

    References
    ----------
    Interpolating within a class is common practice, no source; the limits are certain.

    Examples
    --------
    >>> quantiles_of_bins([0, 4, 0], 0.5, [0.5])
    [BinnedQuantile(share=0.5, value=0.75, low=0.5, high=1.0)]
    >>> quantiles_of_bins([0, 0, 3], 0.5, [0.5])[0].value is None
    True
    """
    if not 0 < width < math.inf:
        raise OutOfRange("the width of a bin", width, 0, math.inf)
    if any(count < 0 for count in counts):
        raise OutOfRange("the count of a bin", min(counts), 0, math.inf)
    ends = np.cumsum(np.asarray(counts, dtype=np.int64))
    n = int(ends[-1]) if len(ends) else 0
    return [_quantile(share, ends, width, (least, most)) for share in shares] if n else []


def _quantile(
    share: float, ends: NDArray[np.int64], width: float, known: tuple[float | None, float | None]
) -> BinnedQuantile:
    if not 0 <= share <= 1:
        raise OutOfRange("a share", share, 0, 1)
    least, most = known
    place = share * (int(ends[-1]) - 1)
    below, above = math.floor(place), math.ceil(place)
    first, second = (int(np.searchsorted(ends, rank, side="right")) for rank in (below, above))
    open_end = len(ends) - 1
    low = first * width if least is None else max(first * width, least)
    high: float | None = (second + 1) * width
    if second == open_end:
        high = most
    elif most is not None:
        high = min((second + 1) * width, most)
    if second == open_end and most is None:
        return BinnedQuantile(share, None, low, None)
    one, two = (_at(rank, ends, width, most) for rank in (below, above))
    value = one + (place - below) * (two - one)
    return BinnedQuantile(share, min(max(value, low), value if high is None else high), low, high)


def _at(rank: int, ends: NDArray[np.int64], width: float, most: float | None) -> float:
    """Give about where the value of a rank lies in its bin."""
    found = int(np.searchsorted(ends, rank, side="right"))
    before = int(ends[found - 1]) if found else 0
    begins, ends_at = found * width, (found + 1) * width
    if found == len(ends) - 1 and most is not None:
        ends_at = max(begins, most)
    return begins + (rank - before + 0.5) / (int(ends[found]) - before) * (ends_at - begins)
