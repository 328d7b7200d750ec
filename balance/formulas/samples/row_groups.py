"""Neighbouring rows put together into groups, and a sample shared out over them."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from balance.formulas.errors import OutOfRange


def row_groups(row_numbers: ArrayLike, groups: int) -> NDArray[np.intp]:
    """Put neighbouring rows together into groups of about as many vines each.

    Parameters
    ----------
    row_numbers : array_like of int, shape (n,)
        The row of each vine.
    groups : int
        Wanted groups, at least 1; with as many as there are rows or more, each row is a group.

    Returns
    -------
    ndarray of int, shape (n,)
        The group of each vine, from 0, without gaps; a row is never divided.

    Examples
    --------
    >>> row_groups([1, 1, 2, 2, 3, 3, 4], 2).tolist(), row_groups([4, 2, 2], 9).tolist()
    ([0, 0, 0, 0, 1, 1, 1], [1, 0, 0])
    """
    rows, row_of, vines = np.unique(np.asarray(row_numbers), return_inverse=True, return_counts=True)
    if groups >= len(rows):
        return row_of.astype(np.intp)
    middles = 2 * np.cumsum(vines) - vines  # twice the place of each row's middle vine: whole numbers
    group_of_row = middles * groups // (2 * int(vines.sum()))
    group_of: NDArray[np.intp] = np.unique(group_of_row, return_inverse=True)[1][row_of].astype(np.intp)
    return group_of


def allocate(sizes: ArrayLike, wanted: int) -> NDArray[np.intp]:
    """Share a sample out over groups in proportion to their sizes.

    Parameters
    ----------
    sizes : array_like of int, shape (h,)
        Vines of each group [vines].
    wanted : int
        Vines to draw, 0 to the sum of the sizes [vines].

    Returns
    -------
    ndarray of int, shape (h,)
        Vines to draw from each group; their sum is ``wanted``, and none is above its size.

    Raises
    ------
    OutOfRange
        More vines are wanted than stand.

    Notes
    -----
    Divisors 1, 3, 5 … (Sainte-Laguë): one more vine never takes one away from a group, as the largest remainder may.

    References
    ----------
    Balinski & Young 1982, Fair Representation (from memory).

    Examples
    --------
    >>> allocate([100, 50, 10], 16).tolist(), allocate([3, 2], 5).tolist()
    ([10, 5, 1], [3, 2])
    """
    counts = np.asarray(sizes, dtype=np.int64)
    if not 0 <= wanted <= counts.sum():
        raise OutOfRange("the number of vines to draw", wanted, 0, int(counts.sum()))
    group = np.repeat(np.arange(counts.size), counts)
    place = np.arange(group.size) - np.repeat(np.cumsum(counts) - counts, counts)
    claims = counts[group] / (2 * place + 1)
    chosen = np.lexsort((group, -claims))[:wanted]
    return np.bincount(group[chosen], minlength=counts.size).astype(np.intp)
