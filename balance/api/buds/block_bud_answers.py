"""How the bud injury of a block is shown: its samples, and what becomes of the nodes of its vines."""

from __future__ import annotations

from typing import Any

from rest_framework import serializers

from balance.api.buds.bud_answers import AdjustedOut, InjuryOut
from balance.api.figures import FigureOut
from balance.buds.pooled_samples import MOST_LISTED


class SampleOut(serializers.Serializer[Any]):
    """One of the samples that were pooled."""

    id = serializers.UUIDField()
    vine = serializers.UUIDField(allow_null=True, help_text="Null: of the block.")
    observed_at = serializers.DateTimeField()
    cut_where = serializers.CharField(help_text="Where the canes were cut, in the farm's words.")
    nodes_examined = serializers.IntegerField()
    primaries_alive = serializers.IntegerField()
    secondaries_alive = serializers.IntegerField(allow_null=True, help_text="Null: not counted.")
    injury = serializers.FloatField(help_text="[%]")
    low = serializers.FloatField(help_text="[%]")
    high = serializers.FloatField(help_text="[%]")


class LikenessOut(serializers.Serializer[Any]):
    """Whether the samples differ by more than chance; then the pooled injury is true of no part of the block."""

    chance = serializers.FloatField(
        allow_null=True, help_text="How likely samples of one injury differ so much, 0 to 1; null: nothing to compare."
    )
    unlike = serializers.BooleanField(allow_null=True, help_text="Null: nothing to compare.")
    sentence = serializers.CharField()


class NodesOfBlockOut(serializers.Serializer[Any]):
    """The block's targets without injury."""

    vines_with_target = serializers.IntegerField()
    mean_target = FigureOut(help_text="[nodes a vine]")
    nodes = FigureOut(help_text="All of them together [nodes].")


class BlockAdjustedOut(AdjustedOut):
    """What one method makes of the injury and of the block's targets."""

    nodes_of_block = FigureOut(help_text="The adjusted targets of all vines together, each rounded [nodes].")


class BlockInjuryAnswer(InjuryOut):
    """The injury of a block, and what each method makes of the targets of its vines."""

    block = serializers.UUIDField()
    season = serializers.IntegerField(allow_null=True, help_text="Null: the block has no bud sample.")
    sample_count = serializers.IntegerField(help_text="Samples that were pooled.")
    not_read = serializers.IntegerField(help_text="Samples in which no primary bud was read; they count for nothing.")
    samples = SampleOut(many=True, help_text=f"Each by itself; the first {MOST_LISTED} of them.")
    likeness = LikenessOut()
    normal = NodesOfBlockOut()
    adjustments = BlockAdjustedOut(
        many=True, help_text="The one that you named; else all, each by itself. `target` is of the mean vine."
    )
