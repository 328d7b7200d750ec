"""Addresses of what the records mean, under /api/v1/."""

from django.urls import path

from balance.api import statistics
from balance.api.benchmarks import addresses as benchmark_addresses
from balance.api.buds import block_bud_injury, bud_adjustments, bud_injury
from balance.api.cordons import addresses as cordon_addresses
from balance.api.crops import crop_addresses
from balance.api.guesses import farm_pruner_calibration
from balance.api.maps import vine_maps
from balance.api.reports import addresses as report_addresses
from balance.api.samples import (
    sample_plans,
    sample_progress,
    sample_sizes,
    shrinkage,
    shrunken_means,
)
from balance.api.spurs import spur_plans
from balance.api.summaries import addresses as summary_addresses
from balance.api.targets import (
    blocks,
    competing,
    dormant,
    mean_target,
    recall,
    spacing,
    stateless,
)
from balance.api.yields import yield_addresses

urlpatterns = [
    path("balance/targets", stateless.StatelessTarget.as_view(), name="stateless-target"),
    path("balance/sample-size", sample_sizes.SampleSizeOf.as_view(), name="sample-size"),
    path("balance/shrinkage", shrinkage.ShrinkageOf.as_view(), name="shrinkage"),
    path("balance/bud-injury", bud_injury.StatelessInjury.as_view(), name="stateless-bud-injury"),
    path("balance/spur-plan", spur_plans.SpurPlans.as_view(), name="spur-plan"),
    path("bud-adjustments", bud_adjustments.Adjustments.as_view(), name="bud-adjustments"),
    path(
        "farms/<uuid:farm>/blocks/<uuid:block>/bud-injury",
        block_bud_injury.BlockInjury.as_view(),
        name="block-bud-injury",
    ),
    path("balance/competing-targets", competing.CompetingTargets.as_view(), name="competing-targets"),
    path(
        "farms/<uuid:farm>/blocks/<uuid:block>/competing-targets",
        competing.BlockCompeting.as_view(),
        name="block-competing-targets",
    ),
    path("farms/<uuid:farm>/blocks/<uuid:block>/mean-target", mean_target.MeanTarget.as_view(), name="mean-target"),
    path("spacing-rules", spacing.SpacingRules.as_view(), name="spacing-rules"),
    path("farms/<uuid:farm>/formulas/<str:formula>/targets", recall.ToldTargets.as_view(), name="told-targets"),
    *dormant.ADDRESSES,
    *farm_pruner_calibration.ADDRESSES,
    *yield_addresses.ADDRESSES,
    *crop_addresses.ADDRESSES,
    *cordon_addresses.ADDRESSES,
    *report_addresses.ADDRESSES,
    *benchmark_addresses.ADDRESSES,
    *summary_addresses.ADDRESSES,
    path("farms/<uuid:farm>/blocks/<uuid:block>/statistics", statistics.Statistics.as_view(), name="block-statistics"),
    path("farms/<uuid:farm>/blocks/<uuid:block>/targets", blocks.Targets.as_view(), name="block-targets"),
    path(
        "farms/<uuid:farm>/blocks/<uuid:block>/sample-plan", sample_plans.SamplePlan.as_view(), name="block-sample-plan"
    ),
    path(
        "farms/<uuid:farm>/blocks/<uuid:block>/sample-progress",
        sample_progress.SampleProgress.as_view(),
        name="block-sample-progress",
    ),
    path("farms/<uuid:farm>/blocks/<uuid:block>/vine-map", vine_maps.VineMaps.as_view(), name="vine-map"),
    path("farms/<uuid:farm>/shrunken-means", shrunken_means.ShrunkenMeans.as_view(), name="shrunken-means"),
]
