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
from balance.cordons.young_arms import Young
from balance.formulas.cordons.young_arm_words import explain_count
from balance.formulas.cordons.young_arms import METHOD, HeldBack
from balance.packed import places_among


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


def young_on(computed: BlockTargets, young: Mapping[uuid.UUID, Young]) -> dict[int, Young]:
    """Give young arms by the position of their vine in walking order; of a vine in another row there are none."""
    if not young:
        return {}
    wanted = np.frombuffer(b"".join(vine.bytes for vine in young), dtype=np.uint8).reshape(-1, 16)
    at = places_among(wanted, computed.walked.vines.ids).tolist()
    return dict(sorted((place, each) for place, each in zip(at, young.values(), strict=True) if place >= 0))


def positions_among(size: int, young: Mapping[int, Young]) -> NDArray[np.float64]:
    """Give for every vine where it stands among those with young arms; NaN where it has none."""
    positions = np.full(size, np.nan)
    positions[list(young)] = np.arange(len(young))
    return positions


def young_arms_of_block_shown(computed: BlockTargets, young: Mapping[int, Young]) -> dict[str, Any] | None:
    """Show the young arms of a block; None where there are none."""
    if not young:
        return None
    vines = [_vine(computed, place, each) for place, each in young.items()]
    known = [vine["lost"] for vine in vines if vine["lost"] is not None]
    return {
        "method": asdict(METHOD),
        "count": len(vines),
        "lost": sum(known),
        "without_number": len(vines) - len(known),
        "vines": vines,
    }


def _vine(computed: BlockTargets, place: int, young: Young) -> dict[str, Any]:
    nodes = computed.targets.nodes[place]
    held = young.of(None if np.isnan(nodes) else int(nodes))
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
