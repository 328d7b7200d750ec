"""The steps of a yield estimate, in words and numbers that can be checked by hand."""

from __future__ import annotations

from typing import Final

from balance.formulas.counting import counted
from balance.formulas.methods import Working
from balance.formulas.targets.explanation import plain
from balance.formulas.yields.estimates import Estimate
from balance.formulas.yields.planting_density import ACRE_M2, HECTARE_M2
from balance.formulas.yields.yield_estimates import TONNES_PER_HECTARE, YieldEstimate

_SHORT_TON_KG: Final = 0.45359237 * 2000


def yield_steps(vines: Estimate, clusters: Estimate, estimate: YieldEstimate) -> list[Working]:
    """Give the steps from the weight of a cluster to the yield.

    Examples
    --------
    >>> from balance.formulas.yields.yield_estimates import estimate_yield
    >>> vines, clusters, weight = Estimate(767, 7.6), Estimate(40, 2.0, 19), Estimate(0.1089, 0.0045, 99)
    >>> estimate = estimate_yield(vines, clusters, weight, area_m2=4046.8564224)
    >>> for step in yield_steps(vines, clusters, estimate):
    ...     print(step.calculation)
    40 × 0.1089 kg = 4.356 kg
    767 × 4.356 kg = 3341.052 kg
    3341.052 kg ÷ 0.4047 ha = 8.2559 t/ha
    √(0.99² + 5² + 4.13²) % = 6.56 %
    """
    per_vine, total = estimate.per_vine.value, estimate.total.value
    on_a_vine = counted(plain(clusters.value), "cluster")
    steps = [
        Working(
            "yield of one vine",
            f"{on_a_vine} at {plain(estimate.weight.value, 6)} kg: {plain(per_vine)} kg.",
            f"{plain(clusters.value)} × {plain(estimate.weight.value, 6)} kg = {plain(per_vine)} kg",
            per_vine,
            "kg",
        ),
        Working(
            "yield of all vines",
            f"{plain(vines.value)} bearing vines of {plain(per_vine)} kg are {plain(total)} kg.",
            f"{plain(vines.value)} × {plain(per_vine)} kg = {plain(total)} kg",
            total,
            "kg",
        ),
    ]
    return [*steps, *_per_area(estimate), *_spread(vines, clusters, estimate)]


def _per_area(estimate: YieldEstimate) -> list[Working]:
    if estimate.per_hectare is None or not estimate.total.value:
        return []
    total, per_hectare = estimate.total.value, estimate.per_hectare.value
    per_acre = per_hectare * 1000 / _SHORT_TON_KG * ACRE_M2 / HECTARE_M2
    return [
        Working(
            "yield of a hectare",
            f"That is {plain(per_hectare)} t/ha, or {plain(per_acre)} short tons an acre.",
            f"{plain(total)} kg ÷ {plain(total / 1000 / per_hectare)} ha = {plain(per_hectare)} t/ha",
            per_hectare,
            TONNES_PER_HECTARE,
        )
    ]


def _spread(vines: Estimate, clusters: Estimate, estimate: YieldEstimate) -> list[Working]:
    error, exactly = estimate.total.standard_error, estimate.total_error_exact
    if not error or exactly is None or not estimate.total.value:
        return []
    parts = " + ".join(f"{_percent(each)}²" for each in (vines, clusters, estimate.weight))
    together = 100 * error / estimate.total.value
    return [
        Working(
            "standard error",
            f"Vines, clusters and weight are each known only so well; together to {plain(together, 2)} % (first order: "
            f"{plain(error)} kg; by the exact variance of a product {plain(exactly)} kg).",
            f"√({parts}) % = {plain(together, 2)} %",
            together,
            "%",
        )
    ]


def _percent(part: Estimate) -> str:
    return plain(100 * (part.standard_error or 0.0) / part.value, 2)
