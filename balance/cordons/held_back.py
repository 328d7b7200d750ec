"""The targets of a block held against its young arms: which vines have some, and what they cannot carry."""

from __future__ import annotations

import uuid
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from balance.blocks import BlockTargets
from balance.cordons.young_arms import Young
from balance.formulas.cordons.young_arms import HeldBack
from balance.packed import places_among


@dataclass(frozen=True)
class Lost:
    """What young arms of a block cannot carry of its targets.

    Attributes
    ----------
    vines : int
        Vines with young arms.
    nodes : int
        Over the vines with a number [nodes].
    without_number : int
        Vines for which it is not known.
    """

    vines: int
    nodes: int
    without_number: int


def young_on(computed: BlockTargets, young: Mapping[uuid.UUID, Young]) -> dict[int, Young]:
    """Give young arms by the position of their vine in walking order; of a vine in another row there are none."""
    if not young:
        return {}
    wanted = np.frombuffer(b"".join(vine.bytes for vine in young), dtype=np.uint8).reshape(-1, 16)
    at = places_among(wanted, computed.walked.vines.ids).tolist()
    return dict(sorted((place, each) for place, each in zip(at, young.values(), strict=True) if place >= 0))


def held_back_on(computed: BlockTargets, young: Mapping[int, Young]) -> dict[int, HeldBack | None]:
    """Hold the target of each vine with young arms against them, by its position."""
    nodes = computed.targets.nodes
    return {place: each.of(None if np.isnan(nodes[place]) else int(nodes[place])) for place, each in young.items()}


def lost_among(held: Mapping[int, HeldBack | None]) -> Lost:
    """Add up what is lost."""
    known = [each.lost for each in held.values() if each is not None and each.lost is not None]
    return Lost(len(held), sum(known), len(held) - len(known))
