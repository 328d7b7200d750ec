"""The young arms of a block: each vine that has one, what it keeps, what is lost, what that explains."""

from __future__ import annotations

import uuid
from collections.abc import Mapping
from dataclasses import asdict
from typing import Any

import numpy as np
from numpy.typing import NDArray
from rest_framework import serializers

from balance.api.figures import MethodOut
from balance.api.targets.young_arm_answers import ExplainedOut, HeldBackOut, explained_shown, held_back_shown
from balance.blocks import BlockTargets
from balance.cordons.held_back import held_back_on, lost_among
from balance.cordons.young_arms import Young
from balance.formulas.cordons.young_arm_words import explain_count
from balance.formulas.cordons.young_arms import METHOD, HeldBack


class VineYoungArmsOut(HeldBackOut):
    """One vine with young arms."""

    vine = serializers.UUIDField()
    row_number = serializers.IntegerField()
    place = serializers.IntegerField()
    explains = ExplainedOut(allow_null=True, help_text="What they say of the retained count; null: nothing to judge.")


class YoungArmsOfBlockOut(serializers.Serializer[Any]):
    """The vines of a block with young arms, in walking order."""

    method = MethodOut()
    count = serializers.IntegerField(help_text="Vines with young arms.")
    lost = serializers.IntegerField(help_text="What they cannot carry [nodes], over the vines with a number.")
    without_number = serializers.IntegerField(help_text="Vines for which that is not known; each says why.")
    vines = VineYoungArmsOut(many=True)


def positions_among(size: int, young: Mapping[int, Young]) -> NDArray[np.float64]:
    """Give for every vine where it stands among those with young arms; NaN where it has none."""
    positions = np.full(size, np.nan)
    positions[list(young)] = np.arange(len(young))
    return positions


def young_arms_of_block_shown(computed: BlockTargets, young: Mapping[int, Young]) -> dict[str, Any] | None:
    """Show the young arms of a block; None where there are none."""
    if not young:
        return None
    held = held_back_on(computed, young)
    lost = lost_among(held)
    return {
        "method": asdict(METHOD),
        "count": lost.vines,
        "lost": lost.nodes,
        "without_number": lost.without_number,
        "vines": [_vine(computed, place, each, held[place]) for place, each in young.items()],
    }


def _vine(computed: BlockTargets, place: int, young: Young, held: HeldBack | None) -> dict[str, Any]:
    vines = computed.walked.vines
    return {
        "vine": str(uuid.UUID(bytes=vines.ids[place].tobytes())),
        "row_number": int(vines.row_numbers[place]),
        "place": int(vines.places[place]),
        **(held_back_shown(young, held) if held else {}),
        "explains": _explains(computed, place, held),
    }


def _explains(computed: BlockTargets, place: int, held: HeldBack | None) -> dict[str, Any] | None:
    retained = computed.walked.retained[place]
    if held is None or held.target is None or np.isnan(retained):
        return None
    return explained_shown(explain_count(int(retained), held, int(computed.tolerance[place])))
