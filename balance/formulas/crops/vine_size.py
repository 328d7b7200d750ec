"""Vine size: prunings for each metre of canopy, the weight of a cane, and shoots and leaves for each metre."""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

from balance.formulas.crops.quotients import Quotients, Ratio, divide
from balance.formulas.errors import OutOfRange
from balance.formulas.methods import READ, Method

PER_CANOPY_METRE: Final = Ratio(
    "pruning weight per metre of canopy", "kg/m", "The pruning weight", "The canopy length", most=100
)
PER_ROW_METRE: Final = Ratio(
    "pruning weight per metre of row", "kg/m", "The pruning weight", "The row length", most=100
)
MEAN_CANE_WEIGHT: Final = Ratio(
    "mean cane weight", "g", "The pruning weight", "The number of canes", most=5000, factor=1000
)
SHOOTS_PER_METRE: Final = Ratio(
    "number of shoots per metre of canopy", "/m", "The number of count shoots", "The canopy length", most=500
)
LEAF_AREA_PER_METRE: Final = Ratio(
    "leaf area per metre of canopy", "m2/m", "The leaf area", "The canopy length", most=200
)
MOST_CANOPIES: Final = 4

METHOD: Final = Method(
    code="vine-size",
    version=1,
    label="Vine size",
    expression="pruning weight ÷ (length of row or cordon × canopies); pruning weight ÷ canes; count shoots ÷ canopy "
    "length",
    source="Kliewer & Dokoozlian 2005, Am. J. Enol. Vitic. 56:170-181",
    mark=READ,
    note="A divided system has two canopies on one length of row, so its canopy length is twice its row length. "
    "Figures for each metre of row are kept apart: sources print both.",
)


def canopy_length(row_length_m: ArrayLike, canopies: int) -> NDArray[np.float64]:
    """Give the length of canopy that stands on a length of row or cordon.

    Parameters
    ----------
    row_length_m : array_like of float, shape (n,)
        Length of row, or of cordon where that is known [m]; NaN where it was not measured.
    canopies : int
        Curtains of leaves on that length, 1 to 4: one where the canopy is not divided, two on a divided system such as
        a Geneva double curtain.

    Returns
    -------
    ndarray of float
        [m]

    Raises
    ------
    OutOfRange

    Examples
    --------
    >>> canopy_length([2.4], 1).tolist(), canopy_length([2.4], 2).tolist()
    ([2.4], [4.8])
    """
    if not 1 <= canopies <= MOST_CANOPIES:
        raise OutOfRange("the number of canopies", canopies, 1, MOST_CANOPIES)
    return np.asarray(row_length_m, dtype=np.float64) * canopies


def pruning_weight_per_canopy_metre(pruning_kg: ArrayLike, canopy_length_m: ArrayLike) -> Quotients:
    """Divide prunings by the length of canopy that they grew on.

    Parameters
    ----------
    pruning_kg : array_like of float, shape (n,)
        Fresh weight of the one-year-old prunings [kg], 0 to 10⁹; NaN where they were not weighed.
    canopy_length_m : array_like of float, shape (n,)
        See :func:`canopy_length` [m].

    Returns
    -------
    Quotients
        [kg/m]. No number where a side is missing, where the length is zero, or above 100.

    Raises
    ------
    OutOfRange

    References
    ----------
    Kliewer & Dokoozlian 2005, Am. J. Enol. Vitic. 56:170-181 (READ).

    Examples
    --------
    >>> pruning_weight_per_canopy_metre([2.88, 2.88], canopy_length([2.4, 4.8], 2)).values.tolist()
    [0.6, 0.3]
    """
    return divide(pruning_kg, canopy_length_m, PER_CANOPY_METRE)


def pruning_weight_per_row_metre(pruning_kg: ArrayLike, row_length_m: ArrayLike) -> Quotients:
    """Divide prunings by the length of row, however many canopies stand on it.

    Parameters
    ----------
    pruning_kg, row_length_m : array_like of float, shape (n,)
        [kg] and [m]; NaN where it was not measured.

    Returns
    -------
    Quotients
        [kg/m]

    Raises
    ------
    OutOfRange

    References
    ----------
    Kurtural, Dami, Taylor 2006, HortTechnology 16(2):233-240 (READ): Chambourcin kept at 0.3 kg/m of row or more.

    Examples
    --------
    >>> pruning_weight_per_row_metre([0.72], [2.4]).values.tolist()
    [0.3]
    """
    return divide(pruning_kg, row_length_m, PER_ROW_METRE)


def mean_cane_weight(pruning_kg: ArrayLike, canes: ArrayLike) -> Quotients:
    """Divide prunings by the number of canes, those from count nodes and all others.

    Parameters
    ----------
    pruning_kg : array_like of float, shape (n,)
        Fresh weight of the one-year-old prunings [kg], 0 to 10⁹; NaN where they were not weighed.
    canes : array_like of float, shape (n,)
        One-year-old canes before the cut, or the shoots counted in the summer before; NaN where not counted.

    Returns
    -------
    Quotients
        [g]. No number where a side is missing, where there were no canes, or above 5000.

    Raises
    ------
    OutOfRange

    Notes
    -----
    Wood that is left on the vine was not weighed, so this is a little less than the true mean.

    Examples
    --------
    >>> mean_cane_weight([2.31], [30]).values.tolist()
    [77.0]
    """
    return divide(pruning_kg, canes, MEAN_CANE_WEIGHT)


def shoots_per_canopy_metre(count_shoots: ArrayLike, canopy_length_m: ArrayLike) -> Quotients:
    """Divide shoots that grew from count nodes by the length of canopy.

    Parameters
    ----------
    count_shoots, canopy_length_m : array_like of float, shape (n,)
        [1] and [m]; NaN where it was not counted or measured.

    Returns
    -------
    Quotients
        [1/m]

    Raises
    ------
    OutOfRange

    Examples
    --------
    >>> shoots_per_canopy_metre([36], [2.4]).values.tolist()
    [15.0]
    """
    return divide(count_shoots, canopy_length_m, SHOOTS_PER_METRE)


def leaf_area_per_canopy_metre(leaf_area_m2: ArrayLike, canopy_length_m: ArrayLike) -> Quotients:
    """Divide leaf area by the length of canopy.

    Parameters
    ----------
    leaf_area_m2, canopy_length_m : array_like of float, shape (n,)
        [m2] and [m]; NaN where it was not measured.

    Returns
    -------
    Quotients
        [m2/m]

    Raises
    ------
    OutOfRange

    References
    ----------
    Kliewer & Dokoozlian 2005, Am. J. Enol. Vitic. 56:170-181 (READ).

    Examples
    --------
    >>> leaf_area_per_canopy_metre([9.6], [2.4]).values.tolist()
    [4.0]
    """
    return divide(leaf_area_m2, canopy_length_m, LEAF_AREA_PER_METRE)
