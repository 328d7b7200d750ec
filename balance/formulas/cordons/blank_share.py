"""How much of the cordons is blank, by spur positions and by length; a share, never a verdict."""

from __future__ import annotations

import math
from typing import Final

from balance.formulas.errors import OutOfRange
from balance.formulas.methods import NO_SOURCE, Method

METHOD: Final = Method(
    code="blank_cordon",
    version=1,
    label="share of blank cordon",
    expression=(
        "by positions: blank ÷ (blank + living); by length: length of blank cordon ÷ length of cordon; each over the "
        "cordons whose newest inspection of the season says both"
    ),
    source="Sums of what inspections counted and measured; no source prints a share at which to act",
    mark=NO_SOURCE,
    note=(
        "The two shares may rest on different cordons, and each season on those that were inspected in it. The change "
        "on the same cordons compares only those that say it in both seasons."
    ),
)
#: A share that differs by less than a millionth of a percent is the same one in another unit.
_DECIMALS: Final = 6
#: Sums of floats may differ in their last digits.
_SLACK: Final = 1e-9


def blank_share(blank: float, whole: float) -> float | None:
    """Give the share that is blank.

    Parameters
    ----------
    blank, whole : float
        Spur positions, or lengths [m], summed over the same cordons; 0 or more, ``blank`` at most ``whole``.

    Returns
    -------
    float or None
        In percent, 0 to 100; None where there is nothing to take a share of.

    Raises
    ------
    OutOfRange
        A sum is negative or no number, or more is blank than there is.

    Notes
    -----
    ``100 · blank / whole``, rounded to six decimals.

    References
    ----------
    The quotient is the definition: common practice, no source.

    Examples
    --------
    >>> blank_share(3, 10), blank_share(0, 10), blank_share(0, 0)
    (30.0, 0.0, None)
    """
    if not (math.isfinite(whole) and whole >= 0):
        raise OutOfRange("whole", whole, 0, "any sum")
    if not 0 <= blank <= whole * (1 + _SLACK):
        raise OutOfRange("blank", blank, 0, whole)
    return None if whole == 0 else min(100.0, round(100 * blank / whole, _DECIMALS))


def change_of_share(now: float | None, before: float | None) -> float | None:
    """Give by how many percentage points a share has grown; None where one of the two is not known.

    Parameters
    ----------
    now, before : float or None
        Shares in percent.

    Returns
    -------
    float or None

    Examples
    --------
    >>> change_of_share(30.0, 22.5), change_of_share(30.0, None)
    (7.5, None)
    """
    return None if now is None or before is None else round(now - before, _DECIMALS)
