"""What is written down about a vine in winter."""

from __future__ import annotations

from django.db import models

from records.models.base import FarmOwned, between, one_of, together
from records.models.imports import Import
from records.models.people import ApiKey, Person
from records.models.vineyards import Block, Vine


class Scale(models.TextChoices):
    """What the prunings were weighed on."""

    SPRING = "spring", "spring or hanging scale"
    DIGITAL = "digital", "digital scale"
    NOT_STATED = "not_stated", "not stated"


class Source(models.TextChoices):
    """The way a record came in."""

    API = "api", "sent by an app"
    IMPORT = "import", "from an imported file"


class DormantRecord(FarmOwned):
    """One vine in one dormant season: its prunings weighed, the nodes left, before the harvest of ``season``.

    An empty weight means that it was not weighed; a weight of zero means that there was nothing to cut.
    Every quantity keeps the value and unit as sent beside the exact kilograms.
    """

    block = models.ForeignKey(Block, on_delete=models.PROTECT, related_name="+", db_constraint=False, db_index=False)
    vine = models.ForeignKey(Vine, on_delete=models.PROTECT, related_name="+", db_constraint=False, db_index=False)
    season = models.PositiveSmallIntegerField(help_text="Calendar year of the harvest that follows this winter.")
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
    observed_at = models.DateTimeField(
        null=True, blank=True, help_text="When the vine was weighed, by the observer's clock."
    )
    observed_offset_minutes = models.SmallIntegerField(null=True, blank=True, help_text="The clock's offset from UTC.")
    pruner = models.CharField(max_length=60, blank=True, help_text="Who pruned, by the farm's own short name.")
    note = models.TextField(blank=True, max_length=4000)
    recorded_by = models.ForeignKey(
        Person, null=True, blank=True, on_delete=models.SET_NULL, related_name="+", db_index=False
    )
    api_key = models.ForeignKey(
        ApiKey, null=True, blank=True, on_delete=models.SET_NULL, related_name="+", db_index=False
    )
    app_name = models.CharField(max_length=80, blank=True, help_text="The app that sent it, as its key names it.")
    device = models.CharField(max_length=80, blank=True, help_text="The device that sent it, as the app names it.")
    source = models.CharField(max_length=10, choices=Source.choices, default=Source.API)
    imported_from = models.ForeignKey(
        Import,
        null=True,
        blank=True,
        on_delete=models.SET_NULL,
        related_name="+",
        db_constraint=False,
        db_index=False,
    )
    imported_line = models.PositiveIntegerField(null=True, blank=True)

    class Meta:
        db_table = "dormant_record"
        constraints = [
            models.UniqueConstraint(name="dormant_record_once_a_vine_and_season", fields=["farm", "vine", "season"]),
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
            between("dormant_record_season_1900_to_2100", "season", 1900, 2100),
            between("dormant_record_offset_within_a_day", "observed_offset_minutes", -1439, 1439),
            together("dormant_record_observed_with_offset", "observed_at", "observed_offset_minutes"),
            models.CheckConstraint(
                name="dormant_record_observed_unless_imported",
                condition=models.Q(observed_at__isnull=False) | models.Q(source=Source.IMPORT),
            ),
            one_of("dormant_record_scale_known", "scale", Scale.values),
            one_of("dormant_record_source_known", "source", Source.values),
        ]
        indexes = [
            models.Index(name="dormant_record_of_a_block", fields=["farm", "block", "season", "vine"]),
            models.Index(name="dormant_record_in_order", fields=["farm", "season", "id"]),
        ]

    def __str__(self) -> str:
        return f"vine {self.vine_id}, season {self.season}"
