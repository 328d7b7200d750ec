"""What is written down in winter: the prunings weighed and the nodes left, and the buds that lived through the cold."""

from __future__ import annotations

from django.db import models
from django.db.models import F, Q

from records.models.base import between, in_order_of_change, one_of, together
from records.models.recorded import (
    LIVE,
    OfABlockOrVine,
    OfAVine,
    Source,
    counted,
    places_of_a_record,
    rules_of_a_record,
    rules_of_members,
)

__all__ = ["BudSample", "DormantRecord", "Scale", "Source"]


class Scale(models.TextChoices):
    """What the prunings were weighed on."""

    SPRING = "spring", "spring or hanging scale"
    DIGITAL = "digital", "digital scale"
    NOT_STATED = "not_stated", "not stated"


class DormantRecord(OfAVine):
    """One vine in one dormant season: its prunings weighed, the nodes left, before the harvest of ``season``.

    An empty weight means that it was not weighed; a weight of zero means that there was nothing to cut.
    Every quantity keeps the value and unit as sent beside the exact kilograms.
    """

    pruning_weight_value = models.DecimalField(max_digits=27, decimal_places=12, null=True, blank=True)
    pruning_weight_unit = models.CharField(max_length=20, null=True, blank=True)
    pruning_weight_kg = models.DecimalField(max_digits=30, decimal_places=24, null=True, blank=True)
    scale_resolution_value = models.DecimalField(max_digits=27, decimal_places=12, null=True, blank=True)
    scale_resolution_unit = models.CharField(max_length=20, null=True, blank=True)
    scale_resolution_kg = models.DecimalField(max_digits=30, decimal_places=24, null=True, blank=True)
    guessed_weight_value = models.DecimalField(max_digits=27, decimal_places=12, null=True, blank=True)
    guessed_weight_unit = models.CharField(max_length=20, null=True, blank=True)
    guessed_weight_kg = models.DecimalField(max_digits=30, decimal_places=24, null=True, blank=True)
    rough_prune_margin_nodes = models.PositiveSmallIntegerField(
        null=True,
        blank=True,
        help_text="Nodes left beyond the estimate while weighing; their wood was not on the scale.",
    )
    nodes_retained = models.PositiveSmallIntegerField(
        null=True, blank=True, help_text="Count nodes left after the final cut; base buds do not count."
    )
    scale = models.CharField(max_length=10, choices=Scale.choices, default=Scale.NOT_STATED)
    pruner = models.CharField(max_length=60, blank=True, help_text="Who pruned, by the farm's own short name.")

    class Meta:
        db_table = "dormant_record"
        constraints = [
            models.UniqueConstraint(
                name="dormant_record_once_a_live_vine_and_season", fields=["farm", "vine", "season"], condition=LIVE
            ),
            together(
                "dormant_record_pruning_weight_whole",
                "pruning_weight_value",
                "pruning_weight_unit",
                "pruning_weight_kg",
            ),
            together(
                "dormant_record_scale_resolution_whole",
                "scale_resolution_value",
                "scale_resolution_unit",
                "scale_resolution_kg",
            ),
            together(
                "dormant_record_guessed_weight_whole",
                "guessed_weight_value",
                "guessed_weight_unit",
                "guessed_weight_kg",
            ),
            between("dormant_record_pruning_weight_0_to_50_kg", "pruning_weight_kg", 0, 50),
            between("dormant_record_scale_resolution_up_to_5_kg", "scale_resolution_kg", "0.000001", 5),
            between("dormant_record_guessed_weight_0_to_50_kg", "guessed_weight_kg", 0, 50),
            between("dormant_record_margin_0_to_500_nodes", "rough_prune_margin_nodes", 0, 500),
            between("dormant_record_nodes_retained_0_to_2000", "nodes_retained", 0, 2000),
            one_of("dormant_record_scale_known", "scale", Scale.values),
            *rules_of_a_record("dormant_record"),
        ]
        indexes = [
            models.Index(name="dormant_record_of_a_block", fields=["farm", "block", "season", "vine"]),
            models.Index(name="dormant_record_in_order", fields=["farm", "season", "id"]),
            in_order_of_change("dormant_record"),
        ]

    def __str__(self) -> str:
        return f"vine {self.vine_id}, season {self.season}"


class BudSample(OfABlockOrVine):
    """One sample of nodes of a block (or of one vine in it), cut open in one winter to see which buds live."""

    nodes_examined = models.PositiveIntegerField()
    primary_alive = counted()
    secondary_alive = counted()
    tertiary_alive = counted()
    first_node = counted()
    last_node = counted()
    canes = counted()
    cut_where = models.CharField(max_length=120, blank=True)
    cut_on = models.DateField(null=True, blank=True)
    days_kept_warm = models.DecimalField(max_digits=4, decimal_places=1, null=True, blank=True)

    class Meta:
        db_table = "bud_sample"
        constraints = [
            *rules_of_a_record("bud_sample"),
            *rules_of_members("bud_sample"),
            models.CheckConstraint(
                name="bud_sample_alive_are_of_those_examined",
                condition=(Q(primary_alive__isnull=True) | Q(primary_alive__lte=F("nodes_examined")))
                & (Q(secondary_alive__isnull=True) | Q(secondary_alive__lte=F("nodes_examined")))
                & (Q(tertiary_alive__isnull=True) | Q(tertiary_alive__lte=F("nodes_examined"))),
            ),
            models.CheckConstraint(
                name="bud_sample_first_node_before_the_last",
                condition=Q(first_node__isnull=True) | Q(last_node__isnull=True) | Q(first_node__lte=F("last_node")),
            ),
        ]
        indexes = places_of_a_record("bud_sample", "bud_sample")

    def __str__(self) -> str:
        return f"{self.nodes_examined} nodes, season {self.season}"
