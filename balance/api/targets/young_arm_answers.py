"""What young arms mean for a target, as it is shown."""

from __future__ import annotations

from dataclasses import asdict
from typing import Any, Final

from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers

from balance.api.figures import MethodOut, WorkingOut
from balance.api.targets.outcomes import OutcomeOut
from balance.cordons.young_arms import Young
from balance.formulas.cordons.frames import INSPECTIONS, REQUEST, TRAINING
from balance.formulas.cordons.young_arm_load import YoungArm, carried_by
from balance.formulas.cordons.young_arm_words import summary, warning, workings
from balance.formulas.cordons.young_arms import METHOD, HeldBack
from balance.formulas.methods import MARKS
from balance.formulas.targets.explained_counts import Explained

_KNOWN_FROM: Final = (INSPECTIONS, TRAINING, REQUEST)


@extend_schema_field({"type": ["string", "null"], "enum": [*_KNOWN_FROM, None]})
class KnownFromOut(serializers.CharField):
    """What says how many cordons a vine has; null: nothing does."""


class YoungArmOut(serializers.Serializer[Any]):
    """One young arm, and what it carries of its share."""

    cordon = serializers.CharField(help_text="Empty: the whole vine is renewed from the trunk.")
    first_winter = serializers.BooleanField(help_text="Whether it was laid down in this winter.")
    nodes_laid_down = serializers.IntegerField(allow_null=True, help_text="[nodes]; null: not said.")
    share = serializers.IntegerField(
        allow_null=True, help_text="What it would carry if it were grown [nodes]; null: not known."
    )
    carries = serializers.IntegerField(help_text="The most that it carries as it is [nodes].")
    kept = serializers.IntegerField(allow_null=True, help_text="Of its share [nodes]; null: not known.")
    lost = serializers.IntegerField(allow_null=True, help_text="Of its share [nodes]; null: not known.")
    sentence = serializers.CharField(help_text="Why it carries no more.")
    mark = serializers.ChoiceField(choices=MARKS, help_text="How well that is known.")


class HeldBackOut(serializers.Serializer[Any]):
    """A target on a vine with young arms: kept + lost = target, and nothing is pushed onto the rest of the vine."""

    target = serializers.IntegerField(allow_null=True, help_text="With all cordons grown [nodes]; null: no target.")
    kept = serializers.IntegerField(allow_null=True, help_text="What the vine keeps [nodes]; null: not known.")
    lost = serializers.IntegerField(
        allow_null=True, help_text="Lost capacity, until the arms bear [nodes]; null: not known."
    )
    reason = serializers.CharField(allow_null=True, help_text="Why there is no number.")
    cordons = serializers.IntegerField(allow_null=True, help_text="Cordons of the vine; null: not known.")
    cordons_known_from = KnownFromOut(allow_null=True)
    arms = YoungArmOut(many=True)
    grown_share = serializers.IntegerField(allow_null=True, help_text="The most that a grown cordon keeps [nodes].")
    grown_share_if_pushed = serializers.IntegerField(
        allow_null=True, help_text="What that would be if the lost nodes were pushed onto them [nodes]; not done."
    )
    sentence = serializers.CharField()
    warning = serializers.CharField(allow_null=True, help_text="What to expect of pushing; null: nothing to push.")


class YoungArmsOut(HeldBackOut):
    """The same with its method and steps."""

    method = MethodOut()
    steps = WorkingOut(many=True)


class ExplainedOut(serializers.Serializer[Any]):
    """The retained count held against what the vine keeps with its young arms."""

    nodes = serializers.IntegerField(allow_null=True, help_text="What the vine keeps [nodes]; null: not known.")
    outcome = OutcomeOut(allow_null=True)
    difference = serializers.IntegerField(allow_null=True, help_text="Retained less that [nodes].")
    sentence = serializers.CharField()


def young_arms_shown(young: Young | None, held: HeldBack | None) -> dict[str, Any] | None:
    """Show what the young arms of a vine mean for its target; None where it has none."""
    if young is None or held is None:
        return None
    steps = [asdict(step) for step in workings(held)]
    return {**held_back_shown(young, held), "method": asdict(METHOD), "steps": steps}


def held_back_shown(young: Young, held: HeldBack) -> dict[str, Any]:
    """Show the same without method and steps."""
    return {
        "target": held.target,
        "kept": held.kept,
        "lost": held.lost,
        "reason": held.reason,
        "cordons": young.cordons,
        "cordons_known_from": young.known_from,
        "arms": _arms(held),
        "grown_share": held.grown_share,
        "grown_share_if_pushed": held.pushed,
        "sentence": summary(held),
        "warning": warning(held),
    }


def _arms(held: HeldBack) -> list[dict[str, Any]]:
    if not held.loads:
        return [_arm(arm, None, None, None) for arm in held.arms]
    return [_arm(load.arm, load.share, load.kept, load.lost) for load in held.loads]


def _arm(arm: YoungArm, share: int | None, kept: int | None, lost: int | None) -> dict[str, Any]:
    carries, sentence, mark = carried_by(arm)
    return {
        "cordon": arm.cordon,
        "first_winter": arm.first_winter,
        "nodes_laid_down": arm.nodes_laid_down,
        "share": share,
        "carries": carries,
        "kept": kept,
        "lost": lost,
        "sentence": sentence,
        "mark": mark,
    }


def explained_shown(explained: Explained | None) -> dict[str, Any] | None:
    """Show what young arms explain of a count; None where there are none."""
    return asdict(explained) if explained else None
