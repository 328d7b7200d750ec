"""Addresses of yield estimates and thinning, under /api/v1/."""

from django.urls import path

from balance.api.yields import (
    block_thinning,
    block_yields,
    planting_density,
    thinning,
    thinning_catalogues,
    yield_estimates,
)

_BLOCK = "farms/<uuid:farm>/blocks/<uuid:block>"

ADDRESSES = [
    path("balance/yield-estimate", yield_estimates.YieldEstimates.as_view(), name="yield-estimate"),
    path("balance/thinning", thinning.Thinning.as_view(), name="thinning"),
    path("balance/planting-density", planting_density.PlantingDensity.as_view(), name="planting-density"),
    path("cluster-weights", thinning_catalogues.ClusterWeights.as_view(), name="cluster-weights"),
    path("thinning-rules", thinning_catalogues.ThinningRules.as_view(), name="thinning-rules"),
    path(f"{_BLOCK}/yield-estimate", block_yields.BlockYieldEstimate.as_view(), name="block-yield-estimate"),
    path(f"{_BLOCK}/thinning", block_thinning.ThinningOfBlock.as_view(), name="block-thinning"),
]
