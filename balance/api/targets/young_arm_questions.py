"""Young arms as they are sent with a question that stores nothing."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

from rest_framework import serializers

from balance.cordons.young_arms import Young
from balance.formulas.cordons.frames import REQUEST
from balance.formulas.cordons.young_arm_load import VIGOURS, YoungArm
from records.api.strict import StrictBooleanField, StrictIntegerField, StrictSerializer
from records.errors import Fault, NotValid
from records.kinds.definitions import CORDONS


class OfAYoungArm(StrictSerializer):
    """What is known of an arm that is laid down or being filled."""

    first_winter = StrictBooleanField(
        required=False, help_text="Whether it is laid down in this winter: true unless said."
    )
    nodes_laid_down = StrictIntegerField(
        min_value=0,
        max_value=200,
        required=False,
        allow_null=True,
        help_text="Nodes of the arm as far as it is pencil-thick; null: not said.",
    )
    vigour = serializers.ChoiceField(choices=VIGOURS, required=False, help_text="Of the vine; left out: not said.")


class YoungArmIn(OfAYoungArm):
    """One arm that is laid down or being filled."""

    cordon = serializers.ChoiceField(
        choices=CORDONS, required=False, help_text="Left out: the whole vine is renewed from the trunk."
    )


def young_arm(name: str, said: Mapping[str, Any]) -> YoungArm:
    """Give one arm as the formula takes it."""
    return YoungArm(name, said.get("first_winter", True), said.get("nodes_laid_down"), said.get("vigour", ""))


def young_sent(arms: Iterable[Mapping[str, Any]], cordons: int | None) -> Young | None:
    """Give young arms as the formula takes them; None where none were sent.

    Raises
    ------
    NotValid
        Two arms have one name.
    """
    sent = tuple(young_arm(arm.get("cordon", ""), arm) for arm in arms)
    names = [arm.cordon for arm in sent]
    faults = tuple(
        Fault(("young_arms", number, "cordon"), "repeated", "This cordon has a young arm already. Name each once.")
        for number, name in enumerate(names)
        if name in names[:number]
    )
    if faults:
        raise NotValid(faults[0].detail, faults=faults)
    return Young(sent, cordons, REQUEST if cordons is not None else None) if sent else None
