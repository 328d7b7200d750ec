"""Clusters to leave on a vine so that it carries a wanted yield, or a wanted crop load."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

from balance.formulas.errors import OutOfRange
from balance.formulas.methods import READ, Method
from balance.formulas.yields.estimates import Estimate
from balance.formulas.yields.lag_phase import CLUSTER_KG
from balance.formulas.yields.propagation import Interval, interval_of, times

#: Yield ÷ pruning weight that may be asked for; the literature's ranges lie between 4 and 20 (trade.md section 4).
CROP_LOAD: Final = (0.1, 100.0)
#: What one vine may be asked to carry [kg]; bounds of this service, set wide: common practice, no source.
VINE_KG: Final = (0.0, 5000.0)
#: A millionth of a cluster means nothing; rounding to it first makes pounds and kilograms agree at a half.
_DECIMALS: Final = 6

BY_YIELD: Final = Method(
    code="clusters_for_a_yield",
    version=1,
    label="Clusters to leave for a wanted yield",
    expression="clusters = wanted yield of one vine ÷ weight of a cluster, to the nearest whole cluster, a half "
    "towards fewer",
    source="The yield estimate of Dami, OSU/OARDC (vines × clusters × weight), solved for the clusters",
    mark=READ,
    note="Rounded as node targets are: too few beats too many (common practice, no source).",
)
BY_CROP_LOAD: Final = Method(
    code="clusters_for_a_crop_load",
    version=1,
    label="Clusters to leave for a wanted crop load",
    expression="clusters = crop load × pruning weight ÷ weight of a cluster, to the nearest whole cluster, a half "
    "towards fewer",
    source="Purdue Univ., Facts for Fancy Fruit: pruning weight × wanted ratio is the yield to thin to",
    mark=READ,
    note="Crop load is yield ÷ prunings of the dormant season that follows the harvest (Practical Winery & Vineyard "
    "2017). At thinning they are not known yet: last winter's weight stands in for them, so the ratio that comes out "
    "next winter will differ where the vine gains or loses size.",
)
BY_AREA: Final = Method(
    code="clusters_for_a_yield_of_an_area",
    version=1,
    label="Clusters to leave for a wanted yield of an area",
    expression="clusters = wanted yield of the area ÷ bearing vines on it ÷ weight of a cluster, to the nearest whole "
    "cluster, a half towards fewer",
    source="The yield estimate of Dami, OSU/OARDC (vines × clusters × weight), solved for the clusters",
    mark=READ,
    note="Missing vines are subtracted from the vines of the area first, else the rest carry too little.",
)


@dataclass(frozen=True)
class Thinned:
    """Clusters of many vines; every array has one element a vine, in the order of what was asked.

    Attributes
    ----------
    unrounded : ndarray of float
        Wanted yield ÷ weight of a cluster [clusters]; NaN where there is no wanted yield.
    leave : ndarray of float
        The same to the nearest whole cluster, a half towards fewer.
    take_off : ndarray of float
        Counted less leave, and never below 0; NaN where not counted.
    lacking : ndarray of float
        Clusters that the vine is short of the wanted yield; NaN where not counted.
    expected_kg : ndarray of float
        Yield after thinning [kg]: of what is left, or of what there is where that is less.
    """

    unrounded: NDArray[np.float64]
    leave: NDArray[np.float64]
    take_off: NDArray[np.float64]
    lacking: NDArray[np.float64]
    expected_kg: NDArray[np.float64]


def yield_by_crop_load(pruning_weights_kg: ArrayLike, crop_load: float) -> NDArray[np.float64]:
    r"""Compute the yield that gives each vine a wanted crop load.

    Parameters
    ----------
    pruning_weights_kg : array_like of float, shape (n,)
        Fresh weight of one-year-old prunings [kg], 0 to 50; NaN where the vine was not weighed.
    crop_load : float
        Wanted yield ÷ pruning weight, 0.1 to 100.

    Returns
    -------
    ndarray of float, shape (n,)
        [kg]; NaN where the vine was not weighed.

    Raises
    ------
    OutOfRange

    Notes
    -----
    .. math:: Y = C \, w_p

    References
    ----------
    .. [1] Purdue Univ., Facts for Fancy Fruit: 2 lb at a ratio of about 10 is 20 lb of fruit (READ).

    Examples
    --------
    >>> yield_by_crop_load([2.0, float("nan")], 10).tolist()
    [20.0, nan]
    """
    _refuse("the crop load", np.asarray(crop_load), CROP_LOAD)
    weights = np.asarray(pruning_weights_kg, dtype=np.float64)
    _refuse("the weight of one vine's prunings [kg]", weights, (0.0, 50.0))
    return weights * crop_load


def thin(counted: ArrayLike, wanted_kg: ArrayLike, cluster_weight_kg: float) -> Thinned:
    r"""Compute how many clusters to leave on each vine and how many to take off.

    Parameters
    ----------
    counted : array_like of float, shape (n,)
        Clusters on each vine now, 0 or more; NaN where they were not counted.
    wanted_kg : array_like of float, shape (n,)
        Wanted yield of each vine [kg], 0 to 5000; NaN where it is not known.
    cluster_weight_kg : float
        Of one cluster at harvest [kg], 0.00001 to 20.

    Returns
    -------
    Thinned
        Arrays of shape (n,).

    Raises
    ------
    OutOfRange

    Notes
    -----
    .. math:: n = Y / w_c

    to the nearest whole cluster, a half towards fewer, after rounding to a millionth of a cluster so that a weight in
    pounds and the same in kilograms give one answer. Clusters cannot be added: a vine with fewer keeps them all.

    Examples
    --------
    >>> thinned = thin([60, 30, float("nan")], [9.0, 9.0, 9.0], 0.2)
    >>> thinned.leave.tolist(), thinned.take_off.tolist(), thinned.lacking.tolist()
    ([45.0, 45.0, 45.0], [15.0, 0.0, nan], [0.0, 15.0, nan])
    >>> thinned.expected_kg.round(6).tolist()
    [9.0, 6.0, 9.0]
    """
    clusters, wanted = (np.asarray(each, dtype=np.float64) for each in (counted, wanted_kg))
    _refuse("the number of clusters", clusters, (0, 1e6))
    _refuse("the wanted yield of a vine [kg]", wanted, VINE_KG)
    _refuse("the weight of a cluster [kg]", np.asarray(cluster_weight_kg), CLUSTER_KG)
    unrounded = np.round(wanted / cluster_weight_kg, _DECIMALS)
    leave = np.ceil(unrounded - 0.5) + 0.0  # the nearest whole number, a half towards fewer; and no -0
    return Thinned(
        unrounded=unrounded,
        leave=leave,
        take_off=np.maximum(clusters - leave, 0.0),
        lacking=np.maximum(leave - clusters, 0.0),
        expected_kg=np.where(np.isnan(leave), np.nan, np.fmin(clusters, leave)) * cluster_weight_kg,
    )


def expected_yield(clusters: float, weight: Estimate, confidence: float = 95) -> tuple[Estimate, Interval | None]:
    """Give the yield of so many clusters, and the interval that the weight of a cluster leaves open.

    Parameters
    ----------
    clusters : float
        Left on the vine.
    weight : Estimate
        Of one cluster at harvest [kg].
    confidence : float, optional
        50 to 99.9 [%].

    Returns
    -------
    estimate : Estimate
        [kg]
    interval : Interval or None
        None where nothing tells how well the weight is known.

    Examples
    --------
    >>> estimate, interval = expected_yield(45, Estimate(0.2, 0.01, 99))
    >>> estimate.value, round(interval.low, 2), round(interval.high, 2)
    (9.0, 8.11, 9.89)
    """
    estimate = times(weight, clusters)
    return estimate, interval_of(estimate, confidence)


def clusters_between(wanted_kg: float, weight: Estimate, confidence: float = 95) -> tuple[int, int] | None:
    """Give the clusters that the wanted yield may take: at the heaviest and at the lightest cluster of the interval.

    Returns
    -------
    fewest, most : int
        None where nothing tells how well the weight is known, or where it may be next to nothing.

    Examples
    --------
    >>> clusters_between(9.0, Estimate(0.2, 0.01, 99))
    (41, 50)
    """
    interval = interval_of(weight, confidence)
    if interval is None or not CLUSTER_KG[0] <= interval.low <= interval.high <= CLUSTER_KG[1]:
        return None
    fewest, most = (int(thin([math.nan], [wanted_kg], each).leave[0]) for each in (interval.high, interval.low))
    return fewest, most


def _refuse(quantity: str, values: NDArray[np.float64], limits: tuple[float, float]) -> None:
    rounded = np.round(values, 9)
    wrong = values[(rounded < limits[0]) | (rounded > limits[1])]
    if wrong.size:
        raise OutOfRange(quantity, float(wrong.flat[0]), *limits)
