"""What is written down from budburst to harvest: shoots, clusters, and the crop."""

from __future__ import annotations

from django.db import models
from django.db.models import F, Q

from records.models.recorded import (
    LIVE,
    OfABlockOrVine,
    OfAVine,
    as_sent,
    counted,
    exact,
    places_of_a_record,
    rules_of_a_record,
    rules_of_members,
    unit_sent,
    wide,
    worded,
)


class ShootCount(OfAVine):
    """One vine's shoots in one growing season: those from count nodes, and those from elsewhere."""

    count_shoots = counted()
    non_count_shoots = counted()
    growth_stage_scale = worded()
    growth_stage_code = worded(4)

    class Meta:
        db_table = "shoot_count"
        constraints = [
            models.UniqueConstraint(
                name="shoot_count_once_a_live_vine_and_season", fields=["farm", "vine", "season"], condition=LIVE
            ),
            *rules_of_a_record("shoot_count"),
            *rules_of_members("shoot_count"),
        ]
        indexes = places_of_a_record("shoot_count", "shoot_count")

    def __str__(self) -> str:
        return f"vine {self.vine_id}, season {self.season}"


class ClusterCount(OfAVine):
    """One vine's clusters in one growing season, before and after thinning, and some weighed in the lag phase."""

    clusters_before_thinning = counted()
    clusters_after_thinning = counted()
    lag_phase_weight_value = as_sent()
    lag_phase_weight_unit = unit_sent()
    lag_phase_weight_kg = exact()
    lag_phase_clusters = counted()
    growth_stage_scale = worded()
    growth_stage_code = worded(4)

    class Meta:
        db_table = "cluster_count"
        constraints = [
            models.UniqueConstraint(
                name="cluster_count_once_a_live_vine_and_season", fields=["farm", "vine", "season"], condition=LIVE
            ),
            *rules_of_a_record("cluster_count"),
            *rules_of_members("cluster_count"),
            models.CheckConstraint(
                name="cluster_count_thinning_leaves_no_more",
                condition=Q(clusters_before_thinning__isnull=True)
                | Q(clusters_after_thinning__isnull=True)
                | Q(clusters_after_thinning__lte=F("clusters_before_thinning")),
            ),
            models.CheckConstraint(
                name="cluster_count_lag_phase_weight_with_its_clusters",
                condition=Q(lag_phase_weight_kg__isnull=True) | Q(lag_phase_clusters__isnull=False),
            ),
        ]
        indexes = places_of_a_record("cluster_count", "cluster_count")

    def __str__(self) -> str:
        return f"vine {self.vine_id}, season {self.season}"


class HarvestRecord(OfABlockOrVine):
    """One picking of one season: of a vine, of a sample of vines in a block, or of the whole block."""

    scope = models.CharField(max_length=10)
    picking = models.PositiveSmallIntegerField(default=1)
    vines_picked = counted()
    yield_value = as_sent()
    yield_unit = unit_sent()
    yield_kg = wide()
    marketable_yield_value = as_sent()
    marketable_yield_unit = unit_sent()
    marketable_yield_kg = wide()
    clusters = counted()
    cluster_weight_value = as_sent()
    cluster_weight_unit = unit_sent()
    cluster_weight_kg = exact()
    berry_weight_value = as_sent()
    berry_weight_unit = unit_sent()
    berry_weight_kg = exact()
    soluble_solids_value = as_sent()
    soluble_solids_unit = unit_sent()
    soluble_solids_brix = exact()
    ph = models.DecimalField(max_digits=4, decimal_places=2, null=True, blank=True)
    titratable_acidity_value = as_sent()
    titratable_acidity_unit = unit_sent()
    titratable_acidity_g_per_l = exact()
    reference_acid = worded(10)

    class Meta:
        db_table = "harvest_record"
        constraints = [
            models.UniqueConstraint(
                name="harvest_record_once_a_live_vine_and_picking",
                fields=["farm", "vine", "season", "picking"],
                condition=LIVE & Q(scope="vine"),
            ),
            models.UniqueConstraint(
                name="harvest_record_once_a_live_block_and_picking",
                fields=["farm", "block", "season", "picking"],
                condition=LIVE & Q(scope="block"),
            ),
            *rules_of_a_record("harvest_record"),
            *rules_of_members("harvest_record"),
            models.CheckConstraint(
                name="harvest_record_vine_exactly_for_a_vine",
                condition=(Q(scope="vine") & Q(vine__isnull=False)) | (~Q(scope="vine") & Q(vine__isnull=True)),
            ),
            models.CheckConstraint(
                name="harvest_record_sample_says_its_vines",
                condition=~Q(scope="sample") | Q(vines_picked__isnull=False),
            ),
            models.CheckConstraint(
                name="harvest_record_marketable_no_more_than_all",
                condition=Q(marketable_yield_kg__isnull=True)
                | Q(yield_kg__isnull=True)
                | Q(marketable_yield_kg__lte=F("yield_kg")),
            ),
            models.CheckConstraint(
                name="harvest_record_acidity_with_its_acid",
                condition=Q(titratable_acidity_g_per_l__isnull=True) | Q(reference_acid__isnull=False),
            ),
        ]
        indexes = places_of_a_record("harvest_record", "harvest_record")

    def __str__(self) -> str:
        return f"{self.scope}, season {self.season}, picking {self.picking}"
