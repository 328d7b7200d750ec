"""The smallest whole number that is enough, where more is never worse."""

from __future__ import annotations

from collections.abc import Callable


def smallest_enough(enough: Callable[[int], bool], least: int, most: int) -> int | None:
    """Give the smallest number from ``least`` to ``most`` that is enough, by halving.

    Parameters
    ----------
    enough : callable
        Takes a whole number; once true, it stays true for every larger one.
    least, most : int
        Both inside.

    Returns
    -------
    int or None
        None where even ``most`` is not enough.

    Examples
    --------
    >>> smallest_enough(lambda number: number * number >= 50, 1, 100), smallest_enough(lambda number: False, 1, 9)
    (8, None)
    """
    if not enough(most):
        return None
    low, high = least, most
    while low < high:
        middle = (low + high) // 2
        if enough(middle):
            high = middle
        else:
            low = middle + 1
    return low
