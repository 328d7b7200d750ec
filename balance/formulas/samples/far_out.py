"""Values that lie far outside the rest of their sample: to be looked at, never left out by themselves."""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

#: Fewer values have no quartiles worth a fence: common practice, no source.
FEWEST: Final = 8
_SPREADS: Final = 3.0
#: Below a billionth of itself a measured figure means nothing; rounding there makes pounds and kilograms agree.
_DIGITS: Final = 9


def far_out(values: ArrayLike) -> NDArray[np.bool_]:
    r"""Tell which values lie far outside the rest.

    Parameters
    ----------
    values : array_like of float, shape (n,)
        Any unit; NaN means not measured.

    Returns
    -------
    ndarray of bool, shape (n,)
        None is far out where fewer than eight values were measured, or where the middle half are all alike.

    Notes
    -----
    Outside the outer fences :math:`Q_1 - 3\,(Q_3 - Q_1)` and :math:`Q_3 + 3\,(Q_3 - Q_1)`, quartiles by linear
    interpolation.

    References
    ----------
    Tukey 1977, Exploratory Data Analysis, section 2E (from memory).

    Examples
    --------
    >>> far_out([1.0, 1.2, 0.9, 1.1, 1.3, 1.0, 0.8, 1.2, 9.0]).tolist().index(True)
    8
    """
    array = np.asarray(values, dtype=np.float64)
    measured = array[~np.isnan(array)]
    if measured.size < FEWEST:
        return np.zeros(array.shape, dtype=np.bool_)
    low, high = np.percentile(measured, [25, 75])
    reach = _SPREADS * (high - low)
    if reach == 0:
        return np.zeros(array.shape, dtype=np.bool_)
    below, above = _rounded(low - reach), _rounded(high + reach)
    return np.array([not np.isnan(each) and not below <= _rounded(each) <= above for each in array.tolist()])


def _rounded(number: float) -> float:
    return float(f"{number:.{_DIGITS}g}")
