"""The same tables, as an ordinary project would declare them."""

from __future__ import annotations

import uuid

from django.db import models


class Farm(models.Model):
    """One farm."""

    id = models.UUIDField(primary_key=True)

    class Meta:
        managed = False
        db_table = "farm"


class Block(models.Model):
    """One block."""

    id = models.UUIDField(primary_key=True)

    class Meta:
        managed = False
        db_table = "block"


class Vine(models.Model):
    """One vine."""

    id = models.UUIDField(primary_key=True)

    class Meta:
        managed = False
        db_table = "vine"


class DormantRecord(models.Model):
    """One vine in one dormant season; the columns that are not here have a default in the database."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4)
    farm = models.ForeignKey(Farm, on_delete=models.PROTECT)
    block = models.ForeignKey(Block, on_delete=models.PROTECT)
    vine = models.ForeignKey(Vine, on_delete=models.PROTECT)
    season = models.PositiveSmallIntegerField()
    pruning_weight_value = models.DecimalField(max_digits=27, decimal_places=12, null=True, blank=True)
    pruning_weight_unit = models.CharField(max_length=20, null=True, blank=True)
    pruning_weight_kg = models.DecimalField(max_digits=30, decimal_places=24, null=True, blank=True)
    scale_resolution_value = models.DecimalField(max_digits=27, decimal_places=12, null=True, blank=True)
    scale_resolution_unit = models.CharField(max_length=20, null=True, blank=True)
    scale_resolution_kg = models.DecimalField(max_digits=30, decimal_places=24, null=True, blank=True)
    rough_prune_margin_nodes = models.PositiveSmallIntegerField(null=True, blank=True)
    nodes_retained = models.PositiveSmallIntegerField(null=True, blank=True)
    scale = models.CharField(max_length=10, default="not_stated")
    observed_at = models.DateTimeField(null=True, blank=True)
    observed_offset_minutes = models.SmallIntegerField(null=True, blank=True)
    pruner = models.CharField(max_length=60, blank=True)
    note = models.TextField(blank=True)
    recorded_by_id = models.UUIDField(null=True, blank=True)
    api_key_id = models.UUIDField(null=True, blank=True)
    app_name = models.CharField(max_length=80, blank=True)
    device = models.CharField(max_length=80, blank=True)
    source = models.CharField(max_length=10, default="api")
    created_digest = models.CharField(max_length=64, blank=True)

    class Meta:
        managed = False
        db_table = "dormant_record"
        constraints = [
            models.UniqueConstraint(name="dormant_record_once_a_live_vine_and_season", fields=["vine", "season"])
        ]
