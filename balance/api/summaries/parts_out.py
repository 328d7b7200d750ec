"""What the answers of summaries are put together from."""

from __future__ import annotations

from typing import Any, Final

from rest_framework import serializers

from balance.api.figures import VERDICTS, MethodOut, RangeOut
from balance.cordons.models import Step
from balance.crops.block_crops import BASES
from balance.formulas.cordons.reminders import TASKS
from balance.reports.document import STANDINGS
from balance.reports.models import UnitSystem

SCOPES: Final = ("farm", "block", "portfolio")
SHARE: Final = "[%]; null: there is nothing to take a share of."


class SummaryHeadOut(serializers.Serializer[Any]):
    """What a summary is about, and as of when it holds."""

    scope = serializers.ChoiceField(choices=SCOPES)
    farm = serializers.UUIDField(allow_null=True, help_text="Null: more farms than one were asked about.")
    block = serializers.UUIDField(allow_null=True, help_text="Null: more blocks than one were asked about.")
    season = serializers.IntegerField(allow_null=True, help_text="Harvest year; null: nothing is recorded yet.")
    as_of = serializers.DateTimeField(help_text="The instant that the figures hold for; not part of the ETag.")
    units = serializers.ChoiceField(choices=UnitSystem.choices)


class SummaryQuantileOut(serializers.Serializer[Any]):
    """One quantile of the weights."""

    share = serializers.FloatField(help_text="0.5 is the median.")
    value = serializers.FloatField(allow_null=True, help_text="Null: only its limits can be told.")
    low = serializers.FloatField(allow_null=True, help_text="The exact quantile is no less.")
    high = serializers.FloatField(allow_null=True, help_text="The exact quantile is no more; null: not known.")


class SummaryWeightsOut(serializers.Serializer[Any]):
    """The pruning weights of single vines."""

    unit = serializers.CharField(help_text="kg or lb, as reports write it.")
    n = serializers.IntegerField(help_text="Vines that were weighed.")
    mean = serializers.FloatField(allow_null=True)
    standard_deviation = serializers.FloatField(
        allow_null=True, help_text="Of single vines, divisor n − 1; exact also over several blocks."
    )
    coefficient_of_variation = serializers.FloatField(allow_null=True, help_text="[%]")
    least = serializers.FloatField(allow_null=True)
    most = serializers.FloatField(allow_null=True)
    quantiles = SummaryQuantileOut(many=True)
    quantiles_are_exact = serializers.BooleanField()
    quantiles_say = serializers.CharField(help_text="How exact the quantiles are, in words; empty: there are none.")
    reason = serializers.CharField(allow_null=True, help_text="Why a figure is null.")


class SummaryCountsOut(serializers.Serializer[Any]):
    """Targets, and how the counts that were left lie against them."""

    targets = serializers.IntegerField(help_text="Vines with a target.")
    mean_target = serializers.FloatField(allow_null=True, help_text="[nodes]")
    below_formula_range = serializers.IntegerField(help_text="Vines weighed below the range of their formula.")
    above_formula_range = serializers.IntegerField(help_text="Vines weighed above it.")
    in_training = serializers.IntegerField(help_text="Vines that are too young for a target.")
    without_formula = serializers.IntegerField(help_text="Vines weighed for which no formula answers.")
    counted = serializers.IntegerField(help_text="Vines counted after the cut.")
    judged = serializers.IntegerField(help_text="Vines with both a target and a count.")
    within = serializers.IntegerField(help_text="Of those, on target within what the scale can tell.")
    too_many = serializers.IntegerField(help_text="Of those, with more nodes.")
    too_few = serializers.IntegerField(help_text="Of those, with fewer nodes.")
    mean_difference = serializers.FloatField(allow_null=True, help_text="Mean of count less target [nodes].")
    mean_tolerance = serializers.FloatField(allow_null=True, help_text="What the scale can tell, on average [nodes].")
    reason = serializers.CharField(allow_null=True, help_text="Why nothing was judged.")


class SummaryLoadOut(serializers.Serializer[Any]):
    """The crop load of a block in one harvest, on the firmest basis that there is."""

    season = serializers.IntegerField(help_text="Of the harvest.")
    pruning_season = serializers.IntegerField(help_text="The dormant season whose prunings are divided by.")
    basis = serializers.ChoiceField(choices=BASES)
    value = serializers.FloatField(allow_null=True)
    unit = serializers.CharField(help_text="UCUM code.")
    reason = serializers.CharField(allow_null=True, help_text="Why there is no number.")
    range = RangeOut(allow_null=True, help_text="Null: nobody assigned one.")
    verdict = serializers.ChoiceField(choices=VERDICTS, allow_null=True, help_text="Null: no figure, or no range.")
    low = serializers.FloatField(allow_null=True, help_text="Lower end of the 95 % interval.")
    high = serializers.FloatField(allow_null=True, help_text="Upper end; null: no interval, or without end.")
    yield_ = serializers.FloatField(allow_null=True, help_text="By samples: of a mean vine.")
    pruning_weight = serializers.FloatField(allow_null=True, help_text="Of the winter after.")
    weight_unit = serializers.CharField(help_text="Of the yield and of the prunings: kg or lb.")
    vines = serializers.IntegerField(allow_null=True, help_text="Vines that both sides are of.")

    def get_fields(self) -> dict[str, Any]:
        """Call the yield by its name, which is a word of the language here."""
        return {name.rstrip("_"): field for name, field in super().get_fields().items()}


class SummaryLoadsOut(serializers.Serializer[Any]):
    """The crop loads of this harvest and of the one before."""

    now = SummaryLoadOut(allow_null=True, help_text="Of the season's harvest; null: no season.")
    before = SummaryLoadOut(allow_null=True, help_text="Of the harvest before; null: no season.")


class SummaryVerdictsOut(serializers.Serializer[Any]):
    """Blocks by the verdict on their crop load."""

    known = serializers.IntegerField(help_text="Blocks with a crop load.")
    below = serializers.IntegerField()
    within = serializers.IntegerField()
    above = serializers.IntegerField()
    without_range = serializers.IntegerField(help_text="Blocks with a crop load to which nobody assigned a range.")
    not_known = serializers.IntegerField(help_text="Blocks without a crop load.")


class SummaryStandingsOut(serializers.Serializer[Any]):
    """Blocks by where they stand."""

    def get_fields(self) -> dict[str, Any]:
        return {standing: serializers.IntegerField() for standing in STANDINGS}


class SummaryBlankOut(serializers.Serializer[Any]):
    """How much of the cordons is blank, over those that say both sides."""

    cordons = serializers.IntegerField(help_text="Inspected cordons that say both sides.")
    blank = serializers.FloatField(allow_null=True)
    living = serializers.FloatField(allow_null=True)
    unit = serializers.CharField(help_text="Empty: spur positions.")
    blank_share = serializers.FloatField(allow_null=True, help_text=SHARE)
    reason = serializers.CharField(allow_null=True)


class SummaryStepOut(serializers.Serializer[Any]):
    """Cases of replacement at one step."""

    step = serializers.ChoiceField(choices=Step.choices)
    count = serializers.IntegerField()


class SummaryTaskOut(serializers.Serializer[Any]):
    """One task of the cases of replacement."""

    task = serializers.ChoiceField(choices=TASKS)
    name = serializers.CharField()
    due = serializers.IntegerField()
    overdue = serializers.IntegerField(help_text="Of those due, put off from a season before.")


class SummaryCordonsOut(serializers.Serializer[Any]):
    """Inspections of the season, and the replacement of cordons as it stands now."""

    inspections = serializers.IntegerField()
    inspected = serializers.IntegerField(help_text="Cordons that were inspected.")
    positions = SummaryBlankOut(help_text="By spur positions.")
    length = SummaryBlankOut(help_text="By length.")
    open_cases = serializers.IntegerField(help_text="Now, whatever the season.")
    cases = SummaryStepOut(many=True, help_text="Cases by their newest step, now.")
    tasks_due = serializers.IntegerField(help_text="In the winter or summer that it is on each farm.")
    tasks_overdue = serializers.IntegerField()
    tasks = SummaryTaskOut(many=True)


class SummaryCompleteOut(serializers.Serializer[Any]):
    """How complete the records of the season are."""

    standing_vines = serializers.IntegerField()
    weighed = serializers.IntegerField()
    weighed_share = serializers.FloatField(allow_null=True, help_text=SHARE)
    counted = serializers.IntegerField()
    counted_share = serializers.FloatField(allow_null=True, help_text=SHARE)
    blocks_weighed = serializers.IntegerField(help_text="Blocks with any weight.")
    blocks_counted = serializers.IntegerField()
    blocks_with_harvest = serializers.IntegerField()
    blocks_inspected = serializers.IntegerField()


class SummaryPlaceOut(serializers.Serializer[Any]):
    """A block, and what stands there."""

    farm = serializers.UUIDField()
    farm_name = serializers.CharField()
    region = serializers.CharField(help_text="Of the farm; empty: not stated.")
    block = serializers.UUIDField()
    block_name = serializers.CharField()
    cultivar = serializers.CharField(allow_null=True, help_text="Code; null: none of the catalogue.")
    cultivar_name = serializers.CharField(help_text="In the farm's words; empty: not stated.")
    rootstock = serializers.CharField(help_text="Empty: not stated.")
    training = serializers.CharField()
    shelter = serializers.CharField()


class SummarySaysOut(serializers.Serializer[Any]):
    """By what the figures were computed, and what stands beside every one of them."""

    methods = MethodOut(many=True)
    cautions = serializers.ListField(child=serializers.CharField())
