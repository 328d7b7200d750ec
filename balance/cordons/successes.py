"""How many of the arms that a farm laid down came to bear, by where they sprang from, cultivar, rootstock or block."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from balance.cordons.step_histories import BLOCK, CULTIVAR, NONE, ORIGIN, ROOTSTOCK, Grouping, steps_told
from balance.formulas.cordons.attempts import (
    CAME_TO_BEAR,
    CAME_TO_NOTHING,
    OUTCOMES,
    TAKEN_BACK,
    UNDER_WAY,
    Attempts,
    attempts_in,
)
from balance.formulas.proportions import Share, exact_share
from records.access import OpenFarm

GROUPINGS: Final = (ORIGIN, CULTIVAR, ROOTSTOCK, BLOCK, NONE)


@dataclass(frozen=True)
class GroupSuccesses:
    """What came of the attempts of one group; ``share`` is None where none has ended."""

    key: str
    label: str
    attempts: int
    came_to_bear: int
    failed: int
    taken_back: int
    under_way: int
    given_up: int
    lost_again: int
    share: Share | None


def successes_of(opened: OpenFarm, wanted: Grouping, confidence: float) -> list[GroupSuccesses]:
    """Give what came of the attempts of a farm or a block, group by group; ``confidence`` is a share.

    Raises
    ------
    NotValid
        The farm has no such block, or there is more than can be answered at once.
    """
    told = steps_told(opened, wanted)
    found = attempts_in(told.history)
    of_group = told.group[found.stood]  # what was last said of the arm while it stood
    return [
        _group(key, label, found, of_group == place, confidence)
        for place, (key, label) in enumerate(zip(told.keys, told.labels, strict=True))
        if (of_group == place).any()
    ]


def _group(key: str, label: str, found: Attempts, own: NDArray[np.bool_], confidence: float) -> GroupSuccesses:
    count = np.bincount(found.outcome[own], minlength=len(OUTCOMES))
    bore, failed, taken_back, under_way = (
        int(count[OUTCOMES.index(each)]) for each in (CAME_TO_BEAR, CAME_TO_NOTHING, TAKEN_BACK, UNDER_WAY)
    )
    return GroupSuccesses(
        key=key,
        label=label,
        attempts=int(own.sum()),
        came_to_bear=bore,
        failed=failed,
        taken_back=taken_back,
        under_way=under_way,
        given_up=int(found.given_up[own].sum()),
        lost_again=int(found.lost_again[own].sum()),
        share=exact_share(bore, bore + failed, confidence) if bore + failed else None,
    )
