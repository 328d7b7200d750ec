"""How much of a whole is done."""

from __future__ import annotations

import math

from balance.formulas.errors import OutOfRange

#: A share that differs by less than a millionth of a percent is the same one.
_DECIMALS = 6


def share_of(part: float, whole: float) -> float | None:
    """Give how much of a whole is done.

    Parameters
    ----------
    part, whole : float
        In one unit, 0 or more. More than the whole counts as all of it: a vine that was weighed and found missing later
        is one of the weighed and none of those that stand.

    Returns
    -------
    float or None
        In percent, 0 to 100; None where there is no whole.

    Raises
    ------
    OutOfRange
        One of them is negative or no number.

    Notes
    -----
    ``100 · min(part, whole) / whole``, rounded to six decimals.

    References
    ----------
    The quotient is the definition: common practice, no source.

    Examples
    --------
    >>> share_of(3, 12), share_of(0, 5), share_of(0, 0)
    (25.0, 0.0, None)
    """
    for value in (part, whole):
        if not 0 <= value < math.inf:
            raise OutOfRange("a part or a whole", value, 0, math.inf)
    return round(100 * min(part, whole) / whole, _DECIMALS) if whole else None
