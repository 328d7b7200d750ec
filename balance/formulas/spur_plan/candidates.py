"""What stands on a vine before the cut: its arms, and the canes among which the plan chooses."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Final

from balance.formulas.errors import OutOfRange

SPUR_POSITION: Final = "spur_position"
CANE: Final = "cane"
WATER_SHOOT: Final = "water_shoot"
KINDS: Final = (SPUR_POSITION, CANE, WATER_SHOOT)

SHORTEST_ARM_M: Final = 0.1
LONGEST_ARM_M: Final = 10.0
FARTHEST_CREEP_M: Final = 2.0
THICKEST_MM: Final = 60.0
MOST_LIVING_NODES: Final = 200
#: Lengths count in whole millimetres; a millionth of one means nothing, so inches and centimetres agree at a half.
_DECIMALS: Final = 6


@dataclass(frozen=True)
class Arm:
    """One arm of the vine: a cordon, or one side of the head.

    Attributes
    ----------
    name : str
    space_m : float
        From the head to the line halfway to the neighbour on this side [m], 0.1 to 10.
    most : int or None
        The most counted nodes that it carries [nodes], 0 or more, such as a young arm's; None: no limit of its own.
    """

    name: str
    space_m: float
    most: int | None = None


@dataclass(frozen=True)
class Candidate:
    """One cane that may be kept.

    Attributes
    ----------
    name, arm : str
        Its own name, and the name of the arm that it stands on.
    position_m : float
        Where it stands along the arm, from the head [m], 0 to 10.
    nodes : int
        Living count nodes, 0 to 200.
    diameter_mm : float or None
        Basal diameter [mm], above 0 to 60; None where it was not measured.
    angle_deg : float or None
        Above sideways [deg], -90 (straight down) to 90 (straight up); None where it was not measured.
    creep_m : float or None
        How far from the cordon it springs [m], 0 to 2; None where it was not measured.
    kind : str
        ``spur_position`` (on last year's spur), ``cane`` or ``water_shoot`` (from older wood).
    """

    name: str
    arm: str
    position_m: float
    nodes: int
    diameter_mm: float | None = None
    angle_deg: float | None = None
    creep_m: float | None = None
    kind: str = SPUR_POSITION

    @cached_property
    def position_mm(self) -> int:
        """The position in whole millimetres."""
        return whole(self.position_m, 1000)

    @cached_property
    def creep_mm(self) -> int:
        """The distance from the cordon in whole millimetres; 0 where it was not measured."""
        return whole(self.creep_m or 0, 1000)

    @property
    def along(self) -> tuple[object, ...]:
        """The order of canes along an arm, which does not depend on the order in which they were named."""
        return self.position_mm, self.creep_mm, -(self.diameter_mm or 0), self.angle_deg or 0, self.name

    @cached_property
    def thickness(self) -> float:
        """The basal diameter in whole hundredths of a millimetre; NaN where it was not measured."""
        return math.nan if self.diameter_mm is None else whole(self.diameter_mm, 100)


def whole(value: float, scale: int) -> int:
    """Give a value times a scale as the nearest whole number, a half upwards.

    Examples
    --------
    >>> whole(0.0254, 1000), whole(6.35, 100)
    (25, 635)
    """
    return int(round(value * scale, _DECIMALS) + 0.5)


def refuse_impossible(candidates: Sequence[Candidate], arms: Sequence[Arm]) -> None:
    """Refuse what no vine can be.

    Raises
    ------
    OutOfRange
        A length, diameter, angle or count lies outside its range.
    ValueError
        Two arms or two canes have one name, a cane stands on no arm, or its kind is unknown.
    """
    for arm in arms:
        _within("the space of an arm [m]", arm.space_m, SHORTEST_ARM_M, LONGEST_ARM_M)
        _within("the most nodes of an arm", arm.most, 0, math.inf)
    names = {arm.name for arm in arms}
    if len(names) < len(arms) or len({each.name for each in candidates}) < len(candidates):
        raise ValueError("two arms or two canes have one name")
    for each in candidates:
        if each.arm not in names or each.kind not in KINDS:
            raise ValueError(f"cane {each.name!r} stands on no arm of the vine, or is of no known kind")
        _within("the position of a cane [m]", each.position_m, 0, LONGEST_ARM_M)
        _within("the living nodes of a cane", each.nodes, 0, MOST_LIVING_NODES)
        _within("the diameter of a cane [mm]", each.diameter_mm, 0.01, THICKEST_MM)
        _within("the angle of a cane [deg]", each.angle_deg, -90, 90)
        _within("the distance from the cordon [m]", each.creep_m, 0, FARTHEST_CREEP_M)


def _within(quantity: str, value: float | None, low: float, high: float) -> None:
    if value is not None and not low <= value <= high:
        raise OutOfRange(quantity, value, low, high)
