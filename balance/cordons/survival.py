"""How long the cordons of a farm live, group by group: its lives, told apart, and survival computed of each."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from balance.cordons.lives import GROUPINGS, Lives, lives_of
from balance.formulas.cordons.survival import Medians, Survival, kaplan_meier, medians
from records.access import OpenFarm
from records.errors import NotValid
from records.models import Block, Cultivar
from records.models.vineyards import Training

#: Years since the cordon's life started, or since it was first inspected or, an arm, laid down.
AGE: Final = "age"
SINCE_FIRST_INSPECTION: Final = "years_since_first_inspection"
CLOCKS: Final = (AGE, SINCE_FIRST_INSPECTION)
#: More groups than this are no table any more.
MOST_GROUPS: Final = 500
NOT_STATED: Final = "not stated"


@dataclass(frozen=True, eq=False)
class GroupedSurvival:
    """The survival of each group, with what was left out of it.

    Attributes
    ----------
    keys, labels : list[str]
        What names each group, and what people call it; the key is empty for what is not stated, and where all are one.
    counted, events : NDArray[np.int64], shape (groups,)
        Lives that were followed, and those of them that ended by a case.
    seen_once : NDArray[np.int64]
        Left out: not seen again after the first look.
    prevalent : NDArray[np.int64]
        Left out: the case was noticed in the season of the first look.
    age_not_known : NDArray[np.int64]
        Left out: followed, but nobody said when their life started.
    """

    keys: list[str]
    labels: list[str]
    counted: NDArray[np.int64]
    events: NDArray[np.int64]
    seen_once: NDArray[np.int64]
    prevalent: NDArray[np.int64]
    age_not_known: NDArray[np.int64]
    table: Survival
    medians: Medians


def survival_of(opened: OpenFarm, block: Block | None, *, by: str, clock: str, confidence: float) -> GroupedSurvival:
    """Give the survival of a farm's cordons, or a block's, with intervals at a confidence between 0 and 1.

    Raises
    ------
    NotValid
        There are too many cordons or groups to be answered at once.
    """
    if by not in GROUPINGS or clock not in CLOCKS:
        raise ValueError(f"no grouping {by!r} or no clock {clock!r}")
    lives = lives_of(opened, block)
    codes, keys = lives.grouped(by)
    if len(keys) > MOST_GROUPS:
        raise NotValid.at(
            "by", code="too_many_groups", detail=f"There are more than {MOST_GROUPS} groups; ask block by block."
        )
    origins = lives.starts if clock == AGE else lives.firsts
    known = ~np.isnan(origins)
    own = lives.followed & known
    table = kaplan_meier(
        (lives.lasts - origins)[own],
        lives.events[own],
        entry=(lives.entered - origins)[own],
        groups=codes[own],
        count=len(keys),
        confidence=confidence,
    )

    def count(chosen: NDArray[np.bool_]) -> NDArray[np.int64]:
        return np.bincount(codes[chosen], minlength=len(keys)).astype(np.int64)

    return GroupedSurvival(
        keys=keys,
        labels=_labels(lives, by, keys),
        counted=count(own),
        events=count(own & lives.events),
        seen_once=count(~lives.followed & ~lives.events),
        prevalent=count(lives.prevalent),
        age_not_known=count(lives.followed & ~known),
        table=table,
        medians=medians(table),
    )


def _labels(lives: Lives, by: str, keys: list[str]) -> list[str]:
    called: dict[str, str] = {"": "" if by == "none" else NOT_STATED}
    if by == "block":
        called |= {str(block.pk): block.name for block in lives.blocks}
    elif by == "cultivar":
        called |= dict(Cultivar.objects.filter(code__in=keys).values_list("code", "name"))
    elif by == "training":
        called |= {str(value): str(label) for value, label in Training.choices}
    return [called.get(key, key) for key in keys]
