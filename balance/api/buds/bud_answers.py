"""How an injury is shown: its interval, what each method makes of a target, and what secondary buds could bear."""

from __future__ import annotations

from typing import Any

from rest_framework import serializers

from balance.api.buds.bud_adjustments import BandOut
from balance.api.figures import ComputedOut, FigureOut, MethodOut, WorkingOut
from balance.formulas.buds.bud_adjustments import STATUSES


class IntervalOut(serializers.Serializer[Any]):
    """The exact binomial interval of an injury."""

    low = serializers.FloatField(help_text="[%]")
    high = serializers.FloatField(help_text="[%]")
    margin = serializers.FloatField(help_text="How far the farther end lies from the injury [percentage points].")
    confidence = serializers.FloatField()


class OverIntervalOut(serializers.Serializer[Any]):
    """What becomes of the target over the interval of the injury."""

    factor_low = serializers.FloatField(allow_null=True)
    factor_high = serializers.FloatField(allow_null=True, help_text="Null also where it grows beyond every number.")
    nodes_low = serializers.IntegerField(allow_null=True, help_text="[nodes]")
    nodes_high = serializers.IntegerField(allow_null=True, help_text="[nodes]")
    whole = serializers.BooleanField(help_text="Whether the method has a number over all of the interval.")
    without_number = serializers.ListField(
        child=serializers.CharField(), help_text="Why it has none over the other parts, in the words of `says`."
    )


class AdjustedOut(serializers.Serializer[Any]):
    """What one method makes of the injury; never mixed with another."""

    method = MethodOut()
    says = serializers.ChoiceField(choices=STATUSES, help_text="Anything but ok: no number, and a reason.")
    bands = BandOut(many=True, help_text="The bands in which the injury lies.")
    factor = serializers.FloatField(allow_null=True, help_text="What the normal target is multiplied by.")
    target = FigureOut(help_text="The adjusted target [nodes].")
    target_unrounded = serializers.FloatField(allow_null=True, help_text="[nodes]")
    over_interval = OverIntervalOut()
    steps = WorkingOut(many=True)
    caution = serializers.CharField(allow_null=True)


class FruitfulnessOut(serializers.Serializer[Any]):
    """What a source says a secondary bud of the cultivar bears; shown, and not used unless you set it."""

    code = serializers.CharField()
    version = serializers.IntegerField()
    percent_of_primary = serializers.FloatField(help_text="[% of a primary]")
    source = serializers.CharField()  # type: ignore[assignment]
    mark = serializers.CharField()
    note = serializers.CharField()


class CropPotentialOut(serializers.Serializer[Any]):
    """What the nodes could bear when secondary buds stand in for dead primaries."""

    method = MethodOut()
    secondary_fruitfulness = serializers.FloatField(allow_null=True, help_text="As you set it [%]; null: off.")
    potential = FigureOut(help_text="[% of what the nodes would bear with every primary alive]")
    low = serializers.FloatField(allow_null=True, help_text="What the counts allow at least [%].")
    high = serializers.FloatField(allow_null=True, help_text="What the counts allow at most [%].")
    steps = WorkingOut(many=True)
    published = FruitfulnessOut(many=True, help_text="What is in print for the cultivar; sources may contradict.")


class BudAdviceOut(serializers.Serializer[Any]):
    """What one source says of sampling; null where it does not say."""

    label = serializers.CharField()  # type: ignore[assignment]
    buds_from = serializers.IntegerField()
    buds_to = serializers.IntegerField(allow_null=True)
    canes_from = serializers.IntegerField(allow_null=True)
    canes_to = serializers.IntegerField(allow_null=True)
    first_node = serializers.IntegerField(allow_null=True, help_text="Counted from the base of the cane.")
    last_node = serializers.IntegerField(allow_null=True, help_text="Counted from the base of the cane.")
    hours_warm_from = serializers.IntegerField(allow_null=True, help_text="[h]")
    hours_warm_to = serializers.IntegerField(allow_null=True, help_text="[h]")
    instruction = serializers.CharField()
    source = serializers.CharField()  # type: ignore[assignment]
    mark = serializers.CharField()
    note = serializers.CharField()


class SamplingOut(serializers.Serializer[Any]):
    """How many nodes to examine, and from where."""

    wanted_margin = serializers.FloatField(help_text="[percentage points]")
    nodes_needed = serializers.IntegerField(
        allow_null=True, help_text="Nodes for that margin at this injury; null: no injury is known."
    )
    sentence = serializers.CharField()
    advice = BudAdviceOut(many=True, help_text="What the sources say, each by itself.")


class InjuryOut(ComputedOut):
    """An injury, and what each method makes of it."""

    injury = FigureOut(help_text="Primary buds dead [%].")
    interval = IntervalOut(allow_null=True, help_text="Null: there is no injury to give one of.")
    nodes_examined = serializers.IntegerField()
    primaries_dead = serializers.IntegerField()
    crop_potential = CropPotentialOut()
    sampling = SamplingOut()
