"""A figure held against the range that somebody assigned to it; without a range there is no verdict."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

BELOW: Final = "below"
WITHIN: Final = "within"
ABOVE: Final = "above"
#: A billionth of a limit means nothing; ratios that differ by less come from the same scale readings.
_DIGITS: Final = 9


@dataclass(frozen=True)
class Range:
    """A range that a figure should lie in; a side that is None has no limit.

    Attributes
    ----------
    low, high : float or None
        Limits, both inside the range [unit].
    unit : str
        UCUM code; ``1`` for a ratio.
    """

    low: float | None
    high: float | None
    unit: str


def judge(value: float | None, assigned: Range | None) -> str | None:
    """Say where a figure lies: ``below``, ``within`` or ``above`` the range assigned to it.

    Parameters
    ----------
    value : float or None
        In the unit of the range; None where there is no figure.
    assigned : Range or None
        None where nobody assigned one.

    Returns
    -------
    str or None
        None where there is no figure or no range: then there is no verdict.

    Notes
    -----
    Both are first rounded to nine significant digits, so that a weight typed in pounds and the same weight typed in
    kilograms fall on one side of a limit.

    Examples
    --------
    >>> judge(11.3, Range(5, 10, "1")), judge(5.0, Range(5, 10, "1")), judge(5.0, None)
    ('above', 'within', None)
    """
    if value is None or assigned is None:
        return None
    rounded = float(f"{value:.{_DIGITS}g}")
    if assigned.low is not None and rounded < float(f"{assigned.low:.{_DIGITS}g}"):
        return BELOW
    if assigned.high is not None and rounded > float(f"{assigned.high:.{_DIGITS}g}"):
        return ABOVE
    return WITHIN
