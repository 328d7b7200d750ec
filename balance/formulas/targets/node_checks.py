"""A target held against the vine's own places and length of canopy: a warning, never a silent cut."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from balance.formulas.counting import counted
from balance.formulas.errors import OutOfRange
from balance.formulas.targets.explanation import plain

FOOT_M: Final = 0.3048
#: Nodes that one spur position carries at most, and usually.
MOST_NODES_A_SPUR: Final = 3
USUAL_NODES_A_SPUR: Final = 2
SPUR_SOURCE: Final = (
    "Spurs of 2 to 3 nodes: Klodd 2022, Univ. of Minnesota Extension, Frequently asked questions for pruning "
    "grapevines (READ); 10 spurs of 3 nodes: Missouri State Univ. Fruit Experiment Station, 8 Nov 2012 (READ)"
)
#: Count nodes a metre of canopy: 4 to 6 a foot.
FEWEST_NODES_A_METRE: Final = 4 / FOOT_M
MOST_NODES_A_METRE: Final = 6 / FOOT_M
LENGTH_SOURCE: Final = "4 to 6 buds a foot: Ohio State Univ., 2023 Grape Pruning Primer (READ)"


@dataclass(frozen=True)
class Check:
    """A target compared with something else that is known of the vine.

    Attributes
    ----------
    code : str
        ``spur_positions`` or ``nodes_per_metre``.
    warning : bool
        The target does not fit.
    sentence : str
        What was compared, and what to do about it.
    value, low, high : float or None
        What was compared, and between what it should lie [unit].
    unit : str
        UCUM code.
    source : str
        Where the limits come from.
    """

    code: str
    warning: bool
    sentence: str
    value: float
    low: float | None
    high: float | None
    unit: str
    source: str


def check_spur_positions(nodes: int, living_positions: int) -> Check:
    """Compare a target with what the living spur positions of the vine can carry.

    Parameters
    ----------
    nodes : int
        The target [nodes].
    living_positions : int
        Living spur positions of all cordons, 0 to 5,000.

    Returns
    -------
    Check
        A warning where even spurs of three nodes would not do. Canes carry more, and the sentence says so.

    Raises
    ------
    OutOfRange

    References
    ----------
    See ``SPUR_SOURCE``. A printed case: 40 nodes by the formula, 12 to 14 positions on the cordon
    (cooksplace.us, 2013, READ*).

    Examples
    --------
    >>> check_spur_positions(40, 13).warning, check_spur_positions(39, 13).warning
    (True, False)
    """
    if not 0 <= living_positions <= 5000:
        raise OutOfRange("living spur positions", living_positions, 0, 5000)
    room = living_positions * MOST_NODES_A_SPUR
    told = counted(living_positions, "living spur position carries", "living spur positions carry")
    told += f" {living_positions * USUAL_NODES_A_SPUR} nodes on two-node spurs and {room} on three-node spurs"
    if nodes <= room:
        return Check(
            "spur_positions", False, f"{told}; the target is {nodes}.", nodes, None, room, "{node}", SPUR_SOURCE
        )
    sentence = (
        f"{told}, and the target is {nodes}. Nothing was cut from it: keep canes or fill blank cordon, or keep "
        "fewer nodes and expect a stronger vine."
    )
    return Check("spur_positions", True, sentence, nodes, None, room, "{node}", SPUR_SOURCE)


def check_nodes_per_metre(nodes: int, canopy_m: float) -> Check:
    """Compare a target with the length of canopy that its shoots will fill.

    Parameters
    ----------
    nodes : int
        The target [nodes].
    canopy_m : float
        Length of canopy of one vine: its space along the row, for each curtain of leaves [m], 0.1 to 100.

    Returns
    -------
    Check
        A warning outside 4 to 6 nodes a foot (13.1 to 19.7 a metre).

    Raises
    ------
    OutOfRange

    References
    ----------
    See ``LENGTH_SOURCE``.

    Examples
    --------
    >>> check = check_nodes_per_metre(48, 8 * 0.3048)
    >>> check.warning, round(check.value, 2)
    (False, 19.69)
    """
    if not 0.1 <= canopy_m <= 100:
        raise OutOfRange("the length of canopy of one vine [m]", canopy_m, 0.1, 100)
    density = round(nodes / canopy_m, 6)
    low, high = round(FEWEST_NODES_A_METRE, 6), round(MOST_NODES_A_METRE, 6)
    told = f"{counted(nodes, 'node')} on {plain(canopy_m, 2)} m of canopy: {plain(density, 1)} a metre"
    printed = f"{plain(low, 1)} to {plain(high, 1)} a metre are printed"
    if low <= density <= high:
        return Check("nodes_per_metre", False, f"{told}; {printed}.", density, low, high, "/m", LENGTH_SOURCE)
    more = (
        "Shoots will crowd: look at shoot thinning, or at training with more canopy."
        if density > high
        else "There will be gaps: look whether the vine fills its space."
    )
    return Check("nodes_per_metre", True, f"{told}; {printed}. {more}", density, low, high, "/m", LENGTH_SOURCE)
