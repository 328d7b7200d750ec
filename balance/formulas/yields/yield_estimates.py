"""Yield by counting clusters: bearing vines × clusters per vine × weight of a cluster, with its uncertainty."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from balance.formulas.errors import OutOfRange
from balance.formulas.methods import NO_SOURCE, READ, Method
from balance.formulas.yields.estimates import Estimate, exact
from balance.formulas.yields.planting_density import HECTARE_M2
from balance.formulas.yields.propagation import exact_standard_error, product, times

TONNES_PER_HECTARE: Final = "t/har"
_DAMI: Final = "Dami, OSU/OARDC, How to estimate grape yields; OSU HYG-1434 (2012); MSU E3186 (2015)"

BY_COUNT: Final = Method(
    code="yield_by_cluster_count",
    version=1,
    label="Yield by counting clusters",
    expression="yield = bearing vines × clusters per vine × weight of a cluster; "
    "variance of first order: (s/y)² = (s/vines)² + (s/clusters)² + (s/weight)²",
    source=_DAMI,
    mark=READ,
    note="Missing vines are subtracted, their share estimated by itself. The factors are taken as independent, though "
    "cluster weight goes with clusters per shoot (AJEV 2008, 59(1):55). The interval knows only the samples: where "
    "they were not drawn at random it is too narrow (1,000 vines and 500 clusters counted in 30 acres were badly off: "
    "apicaltexas.com, READ*).",
)
THIS_SEASON: Final = Method(
    code="cluster_weight_of_this_season",
    version=1,
    label="Weight of clusters cut this season",
    expression="weight of a cluster = mean of clusters cut from vines near harvest",
    source="aggie-horticulture.tamu.edu, 2018: weigh clusters cut from vines, not bins",
    mark=READ,
)
EARLIER_SEASONS: Final = Method(
    code="cluster_weight_of_earlier_seasons",
    version=1,
    label="Harvest weight of clusters in earlier seasons",
    expression="weight of a cluster = mean over earlier seasons of the weight at harvest",
    source=_DAMI,
    mark=READ,
    note="Seasons count alike, and the season ahead is a draw of its own: the spread between seasons stands in the "
    "interval whole (prediction, not mean: common practice, no source). One season tells no spread.",
)
FROM_CATALOGUE: Final = Method(
    code="cluster_weight_of_the_catalogue",
    version=1,
    label="Lowest and highest printed weight of the cultivar's clusters",
    expression="from bearing vines × clusters per vine × lowest printed weight to the same × highest printed weight",
    source="Each row of the catalogue names its own",
    mark=NO_SOURCE,
    note="Only where the block has no weight of its own. What is printed for one cultivar differs by a factor of five "
    "between sites (Villard blanc 58 and 287 g), so there are two ends and no single number.",
)


@dataclass(frozen=True)
class YieldEstimate:
    """A yield by counting clusters.

    Attributes
    ----------
    weight : Estimate
        Of one cluster at harvest [kg].
    per_vine : Estimate
        Of one bearing vine [kg].
    total : Estimate
        Of all bearing vines [kg].
    per_hectare : Estimate or None
        [t/ha]; None where the area is not known.
    total_error_exact : float or None
        Standard error of the total by the exact variance of a product of independent factors [kg].
    """

    weight: Estimate
    per_vine: Estimate
    total: Estimate
    per_hectare: Estimate | None
    total_error_exact: float | None


def bearing_vines(places: int, missing_share: Estimate | None = None) -> Estimate:
    r"""Subtract the missing vines from the places.

    Parameters
    ----------
    places : int
        Places for vines, 1 or more.
    missing_share : Estimate, optional
        Share of places without a bearing vine, 0 to 1; without it nothing is subtracted.

    Returns
    -------
    Estimate
        [vines]

    Raises
    ------
    OutOfRange

    Notes
    -----
    .. math:: n = N (1 - p), \qquad s_n = N s_p

    The share is estimated by itself, from places that were looked at: including missing vines in the counts of
    clusters doubles the error [1]_.

    References
    ----------
    .. [1] Oger et al., OENO One, article 7404 (READ).

    Examples
    --------
    >>> from balance.formulas.yields.estimates import share_of
    >>> estimate = bearing_vines(807, share_of(10, 200))
    >>> estimate.value, round(estimate.standard_error, 2)
    (766.65, 12.47)
    """
    if places < 1:
        raise OutOfRange("the number of places", places, 1, "any number")
    if missing_share is None:
        return exact(places)
    if not 0 <= missing_share.value <= 1:
        raise OutOfRange("the share of missing vines", missing_share.value, 0, 1)
    error = missing_share.standard_error
    return Estimate(
        places * (1 - missing_share.value),
        None if error is None else places * error,
        missing_share.degrees_of_freedom,
        missing_share.n,
    )


def estimate_yield(
    vines: Estimate, clusters: Estimate, *weight: Estimate, area_m2: float | None = None
) -> YieldEstimate:
    r"""Estimate a yield from vines, clusters and the weight of a cluster.

    Parameters
    ----------
    vines : Estimate
        Bearing vines; see :func:`bearing_vines`.
    clusters : Estimate
        Clusters on one bearing vine, after thinning.
    *weight : Estimate
        The weight of a cluster at harvest [kg]; or its weight in the lag phase [kg] and the factor.
    area_m2 : float, optional
        The area that the vines stand on [m2].

    Returns
    -------
    YieldEstimate

    Raises
    ------
    OutOfRange
        The area is not above 0.

    Notes
    -----
    .. math:: PY = ANV \times NC \times CW

    with the standard error of first order by :func:`balance.formulas.yields.propagation.product`; printed with ÷ 2000
    for short tons from pounds.

    References
    ----------
    .. [1] Dami, OSU/OARDC, "How to estimate grape yields" (READ).

    Examples
    --------
    >>> pound = 0.45359237
    >>> estimate = estimate_yield(exact(767), exact(40), exact(0.24 * pound), area_m2=4046.8564224)
    >>> round(estimate.total.value / pound / 2000, 2), round(estimate.per_hectare.value, 2)
    (3.68, 8.25)
    """
    if area_m2 is not None and not area_m2 > 0:
        raise OutOfRange("the area [m2]", area_m2, 0, "any area")
    total = product(vines, clusters, *weight)
    return YieldEstimate(
        weight=product(*weight) if len(weight) > 1 else weight[0],
        per_vine=product(clusters, *weight),
        total=total,
        per_hectare=times(total, HECTARE_M2 / 1000 / area_m2) if area_m2 is not None else None,
        total_error_exact=exact_standard_error(vines, clusters, *weight),
    )
