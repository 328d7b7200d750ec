"""Values that lie far outside the rest of their sample: to be looked at, never left out by themselves."""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

#: Fewer values have no quartiles worth a fence: common practice, no source.
FEWEST: Final = 8
_SPREADS: Final = 3.0
#: Below a billionth of the quartiles a difference means nothing: pounds and kilograms agree, also at a fence of zero.
_SLACK: Final = 1e-9


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
    slack = _SLACK * max(abs(low), abs(high), reach)
    outside: NDArray[np.bool_] = (array < low - reach - slack) | (array > high + reach + slack)
    return outside  # a comparison with NaN is false
