"""A figure held against the range that somebody assigned to it; without a range there is no verdict."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

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


def judge_all(values: ArrayLike, assigned: Range | None) -> NDArray[np.str_]:
    """Say of many figures where each lies; see :func:`judge`.

    Parameters
    ----------
    values : array_like of float, shape (n,)
        In the unit of the range; NaN where there is no figure.
    assigned : Range or None
        None where nobody assigned one.

    Returns
    -------
    ndarray of str
        The empty text where there is no verdict.

    Examples
    --------
    >>> judge_all([4.0, 5.0, float("nan")], Range(5, 10, "1")).tolist()
    ['below', 'within', '']
    """
    verdicts = [judge(None if np.isnan(each) else float(each), assigned) for each in np.asarray(values, dtype=float)]
    return np.array([verdict or "" for verdict in verdicts], dtype="<U6")
