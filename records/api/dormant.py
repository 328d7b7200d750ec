"""The dormant record as it is sent and shown; its endpoints stand with the targets, in ``balance.api``."""

from __future__ import annotations

from typing import Any

from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers

from records.api.fields import MassIn, MassOut, mass_of
from records.api.strict import (
    AwareDateTimeField,
    StrictCharField,
    StrictIntegerField,
    StrictSerializer,
    StrictUUIDField,
)
from records.models import DormantRecord
from records.models.dormant import Scale

NEW_RECORD = {
    "id": "01991b5e-0000-7000-8000-0000000d0001",
    "vine": "01991b5e-0000-7000-8000-00000000b1e7",
    "observed_at": "2027-01-16T10:02:00-05:00",
    "pruning_weight": {"value": 2.8, "unit": "[lb_av]"},
    "scale": "spring",
    "scale_resolution": {"value": 0.25, "unit": "[lb_av]"},
    "guessed_weight": {"value": 2.5, "unit": "[lb_av]"},
    "rough_prune_margin_nodes": 15,
    "pruner": "TR",
}
RECORD_EXAMPLE = {
    "id": "01991b5e-0000-7000-8000-0000000d0001",
    "block": "01991b5e-0000-7000-8000-0000000b10c1",
    "vine": "01991b5e-0000-7000-8000-00000000b1e7",
    "season": 2027,
    "observed_at": "2027-01-16T15:02:00Z",
    "observed_offset_minutes": -300,
    "pruning_weight": {"value": 2.8, "unit": "[lb_av]", "kg": 1.270058636},
    "scale": "spring",
    "scale_resolution": {"value": 0.25, "unit": "[lb_av]", "kg": 0.1133980925},
    "guessed_weight": {"value": 2.5, "unit": "[lb_av]", "kg": 1.133980925},
    "rough_prune_margin_nodes": 15,
    "nodes_retained": None,
    "pruner": "TR",
    "note": "",
    "recorded_by": "01991b5e-0000-7000-8000-0000000000a2",
    "app_name": "example field app",
    "device": "",
    "source": "api",
    "version": 1,
    "received_at": "2027-01-16T15:02:07Z",
    "changed_at": "2027-01-16T15:02:07Z",
}


class DormantRecordChange(StrictSerializer):
    """What may be corrected or added on a dormant record."""

    pruning_weight = MassIn(
        required=False,
        allow_null=True,
        help_text="One-year-old wood cut from the vine, 0 to 50 kg. Null: not weighed.",
    )
    scale = serializers.ChoiceField(choices=Scale.choices, required=False, help_text="What it was weighed on.")
    scale_resolution = MassIn(
        required=False,
        allow_null=True,
        help_text="The scale's smallest step; a reading is good to one step either way.",
    )
    guessed_weight = MassIn(
        required=False, allow_null=True, help_text="The pruner's guess before weighing: it trains the eye."
    )
    rough_prune_margin_nodes = StrictIntegerField(
        min_value=0,
        max_value=500,
        required=False,
        allow_null=True,
        help_text="Nodes left beyond the estimate meanwhile.",
    )
    nodes_retained = StrictIntegerField(
        min_value=0,
        max_value=2000,
        required=False,
        allow_null=True,
        help_text="Count nodes left after the final cut. Base buds do not count.",
    )
    pruner = StrictCharField(
        max_length=60, required=False, allow_blank=True, help_text="The farm's short name for them."
    )
    device = StrictCharField(max_length=80, required=False, allow_blank=True, help_text="As the app names it.")
    note = StrictCharField(max_length=4000, required=False, allow_blank=True, multiline=True)


class DormantRecordPatch(DormantRecordChange):
    """A change of a dormant record, with its reason."""

    reason = StrictCharField(
        max_length=400, required=False, allow_blank=True, help_text="Why; kept with the old version."
    )


class DormantRecordIn(DormantRecordChange):
    """A new dormant record."""

    id = StrictUUIDField(required=False, help_text="Made by the client, so that sending again is safe for ever.")
    vine = StrictUUIDField(source="vine_id", help_text="A vine of this farm.")
    observed_at = AwareDateTimeField(help_text="When it was weighed, with the offset: 2027-01-16T10:02:00-05:00.")
    season = StrictIntegerField(
        min_value=1900,
        max_value=2100,
        required=False,
        allow_null=True,
        help_text="Harvest year. Needed only where the date lies outside the dormant months.",
    )


class DormantRecordOut(serializers.ModelSerializer[DormantRecord]):
    """A dormant record as it stands."""

    pruning_weight = serializers.SerializerMethodField(help_text="As sent, and in kilograms. Null: not weighed.")
    scale_resolution = serializers.SerializerMethodField(help_text="As sent, and in kilograms.")
    guessed_weight = serializers.SerializerMethodField(help_text="As sent, and in kilograms.")

    class Meta:
        model = DormantRecord
        fields = [*RECORD_EXAMPLE]

    @extend_schema_field(MassOut(allow_null=True))
    def get_pruning_weight(self, record: DormantRecord) -> dict[str, Any] | None:
        return mass_of(record, "pruning_weight")

    @extend_schema_field(MassOut(allow_null=True))
    def get_scale_resolution(self, record: DormantRecord) -> dict[str, Any] | None:
        return mass_of(record, "scale_resolution")

    @extend_schema_field(MassOut(allow_null=True))
    def get_guessed_weight(self, record: DormantRecord) -> dict[str, Any] | None:
        return mass_of(record, "guessed_weight")
