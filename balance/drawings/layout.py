"""Where everything of a vine stands on the paper: arms in tiers beside the trunk, a stick for every cane."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import product
from typing import Final

from balance.formulas.spur_plan.candidates import Arm, Candidate, whole
from balance.formulas.spur_plan.plan import SpurPlan
from balance.formulas.spur_plan.reasons import Choice

#: Sizes on the paper [px].
PITCH: Final = 15.0  # between neighbouring sticks, so that their labels stay apart
NODE: Final = 8.0  # between nodes of one stick
FAN: Final = 14.0  # height in which canes are led aside to their sticks
FOOT: Final = 18.0  # from the cordon to the stick of a cane that stands right on it
SLACK: Final = 1.4  # room beyond what the labels need, so that sticks stand near where they spring
CLEAR: Final = 8.0  # between a stick and the halfway line
LETTER: Final = 6.2  # width of one letter of a label
BESIDE_TRUNK: Final = 14.0
MARGIN: Final = 28.0
WIDTH: Final = 880.0
MOST_NODES_DRAWN: Final = 14
LONGEST_LABEL: Final = 14
#: A cane far from the cordon is drawn no farther than this [m].
HIGHEST_CREEP_M: Final = 0.15


@dataclass(frozen=True)
class Stick:
    """One cane on the paper.

    Attributes
    ----------
    base : float
        Where it springs from the cordon [px from the trunk, outwards].
    at : float
        Where its stick stands, moved aside where others stand as well [px from the trunk, outwards].
    foot, length : float
        From the cordon to the stick, and of the stick [px].
    hangs : bool
        Whether it is drawn below the cordon, as a cane that points downward.
    """

    candidate: Candidate
    choice: Choice
    base: float
    at: float
    foot: float
    length: float
    hangs: bool

    @property
    def label(self) -> str:
        """The name, with nodes kept of nodes living; a long name loses its middle, for numbers stand at the end."""
        name, half = self.candidate.name, LONGEST_LABEL // 2
        short = name if len(name) <= LONGEST_LABEL else f"{name[: half - 1]}…{name[-half:]}"
        return f"{short}: {self.choice.nodes}/{self.choice.living}"

    @property
    def reach(self) -> float:
        """How far it and its label go from the cordon [px]."""
        return self.foot + self.length + 8 + LETTER * len(self.label)


@dataclass(frozen=True)
class ArmDrawn:
    """One arm on the paper: its side of the trunk (-1 left, 1 right), its tier, and its sticks.

    ``length`` ends at the halfway line, ``beyond`` is what canes behind it take [px].
    """

    arm: Arm
    side: int
    tier: int
    length: float
    beyond: float
    sticks: tuple[Stick, ...]

    def reach(self, *, below: bool) -> float:
        """How far its sticks go above, or below, the cordon [px]."""
        return max((stick.reach for stick in self.sticks if stick.hangs == below), default=FOOT)


@dataclass(frozen=True)
class Layout:
    """The drawing: pixels a metre, the arms, and the width left and right of the trunk [px]."""

    scale: float
    arms: tuple[ArmDrawn, ...]
    left: float
    right: float


def layout_of(plan: SpurPlan, candidates: Sequence[Candidate], arms: Sequence[Arm]) -> Layout:
    """Lay a vine out: the first arm left of the trunk, the second right, further pairs below; a single one right."""
    sides = [-1 if len(arms) > 1 and number % 2 == 0 else 1 for number in range(len(arms))]
    groups = [[each for each in candidates if each.arm == arm.name] for arm in arms]
    widest = [
        max((arm.space_m for arm, at in zip(arms, sides, strict=True) if at == side), default=0) for side in (-1, 1)
    ]
    scale = max([WIDTH / sum(widest), *(_scale_needed(group, arm) for group, arm in zip(groups, arms, strict=True))])
    choices = {choice.name: choice for choice in plan.choices}
    drawn = tuple(
        ArmDrawn(
            arm,
            sides[number],
            number // 2,
            arm.space_m * scale,
            _beyond(group, arm),
            _sticks(group, choices, arm, scale),
        )
        for number, (arm, group) in enumerate(zip(arms, groups, strict=True))
    )
    left, right = (
        max((arm.length + arm.beyond for arm in drawn if arm.side == side), default=BESIDE_TRUNK) for side in (-1, 1)
    )
    return Layout(scale, drawn, left + MARGIN, right + MARGIN)


def _hangs(candidate: Candidate) -> bool:
    return candidate.angle_deg is not None and round(candidate.angle_deg) < 0


def _inside(candidate: Candidate, arm: Arm) -> bool:
    return candidate.position_mm <= whole(arm.space_m, 1000)


def _scale_needed(group: Sequence[Candidate], arm: Arm) -> float:
    """Give the pixels a metre that leave room for every label of an arm."""
    inside = [_hangs(each) for each in group if _inside(each, arm)]
    return (SLACK * PITCH * max(inside.count(True), inside.count(False)) + BESIDE_TRUNK + CLEAR) / arm.space_m


def _beyond(group: Sequence[Candidate], arm: Arm) -> float:
    """Give the room that canes beyond the halfway line take [px]."""
    beyond = [_hangs(each) for each in group if not _inside(each, arm)]
    return CLEAR + PITCH * max(beyond.count(True), beyond.count(False))


def _sticks(group: Sequence[Candidate], choices: dict[str, Choice], arm: Arm, scale: float) -> tuple[Stick, ...]:
    length = arm.space_m * scale
    found = []
    for hangs, inside in product((False, True), repeat=2):
        here = [each for each in group if (_hangs(each), _inside(each, arm)) == (hangs, inside)]
        here.sort(key=lambda each: each.along)
        farthest = length + _beyond(group, arm)
        bases = [min(each.position_m * scale, farthest) for each in here]
        ends = (BESIDE_TRUNK, length - CLEAR) if inside else (length + CLEAR, farthest)
        for each, base, at in zip(here, bases, apart(bases, PITCH, ends), strict=True):
            foot = FOOT + min(each.creep_m or 0, HIGHEST_CREEP_M) * scale
            nodes = min(each.nodes, max(MOST_NODES_DRAWN, choices[each.name].nodes))
            found.append(Stick(each, choices[each.name], base, at, foot, NODE * (nodes + 0.5), hangs))
    return tuple(found)


def apart(wanted: Sequence[float], least: float, ends: tuple[float, float]) -> list[float]:
    """Move places apart, as little as may be, keeping their order and between two ends.

    Parameters
    ----------
    wanted : sequence of float
        Ascending.
    least : float
        The least distance between neighbours; all together have room between the ends.
    ends : (float, float)

    Notes
    -----
    With *i* distances taken off the *i*-th, places must not descend: pooling adjacent violators gives the least
    squares.

    Examples
    --------
    >>> apart([10.0, 11.0, 12.0, 90.0], 10, (0, 100))
    [1.0, 11.0, 21.0, 90.0]
    """
    pools: list[tuple[float, int]] = []
    for number, place in enumerate(wanted):
        pools.append((place - number * least, 1))
        while len(pools) > 1 and pools[-2][0] > pools[-1][0]:
            (mean, count), (other, more) = pools[-2:]
            pools[-2:] = [((mean * count + other * more) / (count + more), count + more)]
    highest = ends[1] - least * max(0, len(wanted) - 1)
    flat = [min(max(mean, ends[0]), highest) for mean, count in pools for _ in range(count)]
    return [place + number * least for number, place in enumerate(flat)]
