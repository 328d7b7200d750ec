"""From the weight of a cluster in the lag phase to its weight at harvest: the factor 2, and the block's own."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from balance.formulas.errors import OutOfRange
from balance.formulas.methods import NO_SOURCE, READ, Method, Working
from balance.formulas.targets.explanation import plain
from balance.formulas.yields.estimates import Estimate, exact, next_of

#: A cluster has about half of its final weight.  Oregon work of the early 1990s, reported by Good Fruit Grower (READ).
DEFAULT_FACTOR: Final = 2.0
#: What a cluster can weigh [kg]; bounds of this service, set wide: common practice, no source.
CLUSTER_KG: Final = (1e-5, 20.0)

DEFAULT_METHOD: Final = Method(
    code="lag_phase_default_factor",
    version=1,
    label="Weight in the lag phase × 2",
    expression="final weight of a cluster = its weight in the lag phase × 2",
    source="Oregon work of the early 1990s (a cluster has about 50 % of its final weight), reported by Good Fruit "
    "Grower and a Washington grower deck (paperzz.com/doc/9381687)",
    mark=READ,
    note="No source prints how far the factor strays, so 2 is taken as exact and the interval is too narrow by that. "
    "Weighed 50-55 days after bloom (Willamette), 50-60 in general, 50 ± 7 for Concord and 58 ± 7 for Sunbelt "
    "(Arkansas, Morris et al., HortTechnology).",
)
OWN_METHOD: Final = Method(
    code="lag_phase_own_factor",
    version=1,
    label="Weight in the lag phase × the block's own factor",
    expression="final weight = weight in the lag phase × mean over earlier seasons of (weight at harvest ÷ weight in "
    "the lag phase)",
    source="Arithmetic on the block's own records of earlier seasons; that a block's own factor be kept and shown "
    "beside 2 is common practice, no source",
    mark=NO_SOURCE,
    note="Seasons count alike. The season ahead is a draw of its own, so the spread between seasons stands in the "
    "interval whole (prediction, not mean); one season tells no spread.",
)


@dataclass(frozen=True)
class OwnFactor:
    """A block's own factor from its records.

    Attributes
    ----------
    factors : tuple of float
        Final weight ÷ weight in the lag phase, one a season, in the order given.
    estimate : Estimate
        Their mean as a prediction for the season ahead.
    standard_deviation : float or None
        Between seasons; None for one season.
    """

    factors: tuple[float, ...]
    estimate: Estimate
    standard_deviation: float | None


def default_factor() -> Estimate:
    """Give the factor 2; no source prints a spread, so it has none here.

    Examples
    --------
    >>> default_factor().value
    2.0
    """
    return exact(DEFAULT_FACTOR)


def own_factor(final_kg: ArrayLike, lag_phase_kg: ArrayLike) -> OwnFactor | None:
    r"""Compute a block's own factor from earlier seasons in which both weights were taken.

    Parameters
    ----------
    final_kg, lag_phase_kg : array_like of float, shape (n,)
        Mean weight of a cluster at harvest and in the lag phase of the same season [kg], 0.00001 to 20.

    Returns
    -------
    OwnFactor or None
        None without a season.

    Raises
    ------
    OutOfRange
        A weight lies outside these limits.

    Notes
    -----
    .. math:: f = \frac1n \sum_t w_t^{harvest} / w_t^{lag}

    Examples
    --------
    >>> own = own_factor([0.112, 0.120], [0.056, 0.050])
    >>> own.factors, own.estimate.value, round(own.standard_deviation, 4)
    ((2.0, 2.4), 2.2, 0.2828)
    """
    final, early = (np.asarray(each, dtype=np.float64) for each in (final_kg, lag_phase_kg))
    for weights in (final, early):
        wrong = weights[~((weights >= CLUSTER_KG[0]) & (weights <= CLUSTER_KG[1]))]
        if wrong.size:
            raise OutOfRange("the weight of a cluster [kg]", float(wrong[0]), *CLUSTER_KG)
    if final.size != early.size:
        raise OutOfRange("the number of weights at harvest", final.size, early.size, early.size)
    if not final.size:
        return None
    ratios = np.round(final / early, 9)
    deviation = float(ratios.std(ddof=1)) if ratios.size > 1 else None
    return OwnFactor(tuple(ratios.tolist()), next_of(ratios), deviation)


def factor_step(lag_phase_kg: float, factor: float, whose: str) -> Working:
    """Give the step from the weight in the lag phase to the final weight.

    Examples
    --------
    >>> factor_step(0.058, 2.0, "the factor 2").calculation
    '0.058 kg × 2 = 0.116 kg'
    """
    final = lag_phase_kg * factor
    return Working(
        "final weight of a cluster",
        f"A cluster of {plain(lag_phase_kg, 6)} kg in the lag phase comes to {plain(final, 6)} kg by {whose}.",
        f"{plain(lag_phase_kg, 6)} kg × {plain(factor)} = {plain(final, 6)} kg",
        final,
        "kg",
    )


def doubt_about(own: OwnFactor | None) -> str | None:
    """Say so where a factor below 1 means that clusters got lighter after the lag phase.

    Examples
    --------
    >>> doubt_about(own_factor([0.05], [0.06]))
    'A factor of 0.8333 says that clusters got lighter after the lag phase: check the weights and their units.'
    >>> doubt_about(own_factor([0.12], [0.06])) is None
    True
    """
    lowest = min(own.factors) if own else math.inf
    if lowest >= 1:
        return None
    said = f"A factor of {plain(lowest)} says that clusters got lighter after the lag phase"
    return f"{said}: check the weights and their units."
