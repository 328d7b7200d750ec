"""Yields by counting clusters: every way to the weight of a cluster, side by side, each with number or reason."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Final

from balance.formulas.counting import counted
from balance.formulas.methods import Method, Working
from balance.formulas.targets.explanation import plain
from balance.formulas.yields.estimates import Estimate, exact, next_of
from balance.formulas.yields.lag_phase import (
    DEFAULT_METHOD,
    OWN_METHOD,
    OwnFactor,
    default_factor,
    doubt_about,
    factor_step,
    own_factor,
)
from balance.formulas.yields.propagation import product
from balance.formulas.yields.yield_estimates import (
    EARLIER_SEASONS,
    THIS_SEASON,
    YieldEstimate,
    bearing_vines,
    estimate_yield,
)
from balance.formulas.yields.yield_steps import yield_steps
from balance.yields.cluster_weights import ClusterWeight, cluster_weights

NO_WEIGHT: Final = "No cluster was weighed this season near harvest."
NO_EARLIER: Final = "No earlier season has the weight of a cluster at harvest."
NO_LAG_PHASE: Final = "No cluster was weighed in the lag phase of this season."
NO_OWN_FACTOR: Final = (
    "No earlier season has both the weight of a cluster in the lag phase and its weight at harvest, so the block has "
    "no factor of its own yet. Weigh at both times this year."
)
NO_COUNT: Final = "No clusters were counted in this season."
MISSING_NOT_COUNTED: Final = "Missing vines were not counted, so none are subtracted: the yield is too high by them."
NONE_MISSING: Final = (
    "No missing vine was found among the places looked at. That they are none at all, a sample cannot say: the "
    "interval leaves this out."
)


@dataclass(frozen=True)
class SeasonWeights:
    """Mean weight of a cluster at harvest and in the lag phase of one earlier season [kg]; None where not weighed."""

    season: int
    final_kg: float | None
    lag_phase_kg: float | None


@dataclass(frozen=True)
class YieldQuestion:
    """What a yield is estimated from.

    ``missing`` is the share of places without a bearing vine, None where nobody counted; weights are in kilograms.
    """

    places: int
    missing: Estimate | None
    clusters: Estimate | None
    this_season: Estimate | None = None
    lag_phase: Estimate | None = None
    seasons: tuple[SeasonWeights, ...] = ()
    cultivar: str | None = None
    area_m2: float | None = None
    cautions: tuple[str, ...] = ()


@dataclass(frozen=True)
class WayToYield:
    """One way to the weight of a cluster and the yield by it; without an estimate, the reason."""

    method: Method
    estimate: YieldEstimate | None
    reason: str | None
    steps: list[Working] = field(default_factory=list)


@dataclass(frozen=True)
class YieldAnswer:
    """A yield by every way, and what they rest on."""

    question: YieldQuestion
    vines: Estimate
    ways: tuple[WayToYield, ...]
    earlier: Estimate | None
    own: OwnFactor | None
    printed: tuple[ClusterWeight, ...]
    printed_ends: tuple[YieldEstimate, YieldEstimate] | None
    cautions: tuple[str, ...]


def yields_of(question: YieldQuestion) -> YieldAnswer:
    """Estimate a yield by every way that the question has something for."""
    vines = bearing_vines(question.places, question.missing)
    earlier, own = _earlier(question), _own_factor(question)
    printed = cluster_weights(question.cultivar) if question.cultivar else ()
    weighed = question.this_season or question.lag_phase or earlier
    return YieldAnswer(
        question=question,
        vines=vines,
        ways=tuple(_way(question, vines, each) for each in weights_of(question)),
        earlier=earlier,
        own=own,
        printed=printed,
        printed_ends=None if weighed or not printed else _ends(question, vines, printed),
        cautions=tuple(_cautions(question, own)),
    )


def vines_step(answer: YieldAnswer) -> Working:
    """Give the step from places to bearing vines."""
    places, share = answer.question.places, answer.question.missing
    missing = plain(100 * share.value) if share else "0"
    sentence = f"Of {counted(places, 'place')} {missing} % have no vine, so {plain(answer.vines.value)} with one."
    calculation = f"{places} × (1 − {plain(share.value) if share else 0}) = {plain(answer.vines.value)}"
    return Working("bearing vines", sentence, calculation, answer.vines.value, "1")


def _own_factor(question: YieldQuestion) -> OwnFactor | None:
    both = [
        (each.final_kg, each.lag_phase_kg)
        for each in question.seasons
        if each.final_kg is not None and each.lag_phase_kg is not None
    ]
    return own_factor([final for final, _ in both], [early for _, early in both])


@dataclass(frozen=True)
class WayToWeight:
    """One way to the weight of a cluster at harvest: its parts, which are multiplied, or the reason for none."""

    method: Method
    parts: tuple[Estimate, ...]
    reason: str | None

    @property
    def weight(self) -> Estimate | None:
        """The weight itself [kg]."""
        return product(*self.parts) if len(self.parts) > 1 else next(iter(self.parts), None)


def weights_of(question: YieldQuestion) -> tuple[WayToWeight, ...]:
    """Give the weight of a cluster by every way that the question has something for."""
    early, own, earlier = question.lag_phase, _own_factor(question), _earlier(question)
    without_own = NO_LAG_PHASE if early is None else NO_OWN_FACTOR
    return (
        _way_to_weight(THIS_SEASON, (question.this_season,), NO_WEIGHT),
        _way_to_weight(EARLIER_SEASONS, (earlier,), NO_EARLIER),
        _way_to_weight(DEFAULT_METHOD, (early, default_factor()), NO_LAG_PHASE),
        _way_to_weight(OWN_METHOD, (early, own.estimate if own else None), without_own),
    )


def _way_to_weight(method: Method, parts: tuple[Estimate | None, ...], reason: str) -> WayToWeight:
    known = tuple(part for part in parts if part is not None)
    return WayToWeight(method, known, None) if len(known) == len(parts) else WayToWeight(method, (), reason)


def _earlier(question: YieldQuestion) -> Estimate | None:
    final = [each.final_kg for each in question.seasons if each.final_kg is not None]
    return next_of(final) if final else None


def _way(question: YieldQuestion, vines: Estimate, weight: WayToWeight) -> WayToYield:
    if question.clusters is None:
        return WayToYield(weight.method, None, NO_COUNT)
    if not weight.parts:
        return WayToYield(weight.method, None, weight.reason)
    estimate = estimate_yield(vines, question.clusters, *weight.parts, area_m2=question.area_m2)
    first = []
    if len(weight.parts) > 1:
        whose = "the factor 2" if weight.method is DEFAULT_METHOD else "the block's own factor"
        first = [factor_step(weight.parts[0].value, weight.parts[1].value, whose)]
    return WayToYield(weight.method, estimate, None, [*first, *yield_steps(vines, question.clusters, estimate)])


def _ends(
    question: YieldQuestion, vines: Estimate, printed: tuple[ClusterWeight, ...]
) -> tuple[YieldEstimate, YieldEstimate] | None:
    """Give the yield at the lowest and at the highest printed weight: two ends, and no number between them."""
    if question.clusters is None:
        return None
    lowest, highest = min(row.low_g for row in printed), max(row.high_g for row in printed)
    low, high = (
        estimate_yield(vines, question.clusters, exact(grams / 1000), area_m2=question.area_m2)
        for grams in (lowest, highest)
    )
    return low, high


def _cautions(question: YieldQuestion, own: OwnFactor | None) -> Iterator[str]:
    yield from question.cautions
    if question.missing is None:
        yield MISSING_NOT_COUNTED
    elif question.missing.value == 0 and question.missing.degrees_of_freedom < math.inf:
        yield NONE_MISSING
    doubt = doubt_about(own)
    if doubt:
        yield doubt
